package calibration

import (
	"fmt"
	"math"

	"boardproof/analysis"
)

// Mismatch is how the second input differs from the first, by reversal: the
// plugs of the loopback lead are exchanged and what the lead's two ends do
// differently cancels in the mean of both takes. Common practice.
type Mismatch struct {
	// Input is the second, Reference the first, by channel.
	Input     int `json:"input"`
	Reference int `json:"reference"`
	// DB is at 1 kHz, WorstDB the furthest from DB between 20 Hz and 20 kHz.
	DB      analysis.Estimate `json:"db"`
	WorstDB analysis.Estimate `json:"worst_db"`
	WorstHz float64           `json:"worst_hz"`
	DelayS  analysis.Estimate `json:"delay_s"`
	// LeadDB is what the lead's own ends differ by at 1 kHz.
	LeadDB analysis.Estimate `json:"lead_db"`
}

// Reversal reads the mismatch of the first two rows from a sweep through the
// loopback lead and another with its plugs in them exchanged.
func Reversal(straight, swapped *analysis.Recording, inputs []Input) (*Mismatch, error) {
	if len(inputs) < 2 {
		return nil, fmt.Errorf("comparing inputs by swapping: there is one input only")
	}
	a, err := ratio(straight)
	if err != nil {
		return nil, fmt.Errorf("comparing inputs by swapping: %w", err)
	}
	b, err := ratio(swapped)
	if err != nil {
		return nil, fmt.Errorf("comparing inputs by swapping: %w", err)
	}
	la, lb := a.Level(), b.Level()
	// Four pluggings, each of which is in the mean by a half.
	plug := analysis.DBFromRelative(analysis.Hypot(inputs[0].PlugRelStd, inputs[1].PlugRelStd)) / math.Sqrt2
	half := func(i int, sign float64) analysis.Estimate {
		return analysis.Estimate{Value: (la.DB[i] + sign*lb.DB[i]) / 2, Std: analysis.Hypot(la.Std(i)/2, lb.Std(i)/2, plug)}
	}
	ref := analysis.NearestIndex(la.FrequencyHz, 1000)
	m := &Mismatch{Input: inputs[1].Channel, Reference: inputs[0].Channel, DB: half(ref, 1), LeadDB: half(ref, -1)}
	for i, f := range la.FrequencyHz {
		// What all frequencies share cancels against 1 kHz, the plugs with it.
		d := half(i, 1)
		d.Value, d.Std = d.Value-m.DB.Value, analysis.Hypot(la.Std(i)/2, lb.Std(i)/2)
		if f >= 20 && f <= 20000 && math.Abs(d.Value) > math.Abs(m.WorstDB.Value) {
			m.WorstDB, m.WorstHz = d, f
		}
	}
	da, ba := a.Delay()
	db, bb := b.Delay()
	m.DelayS = analysis.Estimate{Value: (da + db) / 2, Std: analysis.Hypot(ba.Std()/2, bb.Std()/2, inputs[0].LeadDelayStdS)}
	return m, nil
}

// LeadAsymmetric is true where the lead's two ends differ by more than can be
// scatter.
func (m *Mismatch) LeadAsymmetric() bool { return math.Abs(m.LeadDB.Value) > driftK*m.LeadDB.Std }

// ratio is the second row of a sweep over the first.
func ratio(rec *analysis.Recording) (*analysis.Split, error) {
	played, err := analysis.NewPlayed(rec.Signal)
	if err != nil {
		return nil, err
	}
	var raw [2]*analysis.Raw
	var resp [2]*analysis.Gated
	for row := range raw {
		if raw[row], err = played.Deconvolve(rec.Samples[row], rec.OffsetFrames); err != nil {
			return nil, err
		}
		resp[row] = raw[row].Response(analysis.Grid(rec.RateHz))
	}
	return analysis.CompareOutputs(raw[1], raw[0], resp[1], resp[0], analysis.BenchInput{}, analysis.BenchInput{})
}
