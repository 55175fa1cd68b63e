package analysis

import (
	"math"
	"math/cmplx"
)

// sourceShare is how a budget calls what inputShare is uncertain by.
const sourceShare = "input's share of the bench's own response"

// share is a correction in dB and its standard uncertainty.
type share struct{ db, std float64 }

// inputShare returns what to add to a level read at f hertz for the input's
// own response, relative to 1 kHz, where its full scale is known. A loopback
// shows output and input together, and nothing says which of the two fell off:
// the input's share is anything from none to all, so half is put right, and
// the other half either way is evenly spread (JCGM 100:2008, 4.3.7).
func (b BenchInput) inputShare(f float64) share {
	if b.Loopback == nil || len(b.Loopback.FrequencyHz) < 2 {
		return share{}
	}
	f = math.Max(f, b.Loopback.FrequencyHz[0])
	f = math.Min(f, b.Loopback.FrequencyHz[len(b.Loopback.FrequencyHz)-1])
	fallen := DB(cmplx.Abs(b.Loopback.at(gridReferenceHz)) / cmplx.Abs(b.Loopback.at(f)))
	return share{fallen / 2, math.Abs(fallen) / 2 / math.Sqrt(3)}
}

// inputShareOf is inputShare of a level that is spread over lines or bands,
// each at hz with a power.
func (b BenchInput) inputShareOf(hz, power []float64) share {
	all, put, off := 0.0, 0.0, 0.0
	for i, f := range hz {
		s := b.inputShare(f)
		all += power[i]
		put += power[i] * math.Pow(10, s.db/10)
		off += power[i] * s.std
	}
	if all == 0 {
		return share{}
	}
	// The shares at all frequencies are right or wrong together.
	return share{10 * math.Log10(put/all), off / all}
}

// ofWeighting is inputShareOf a weighted noise, from its third octaves.
func (b BenchInput) ofWeighting(bands []ThirdOctave, weighting string) share {
	hz, power := make([]float64, len(bands)), make([]float64, len(bands))
	for i, o := range bands {
		hz[i] = o.CentreHz
		power[i] = sq(o.RMS.Value * WeightingGain(weighting, o.CentreHz))
	}
	return b.inputShareOf(hz, power)
}
