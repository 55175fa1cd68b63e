package analysis

import "boardproof/testsignals"

// NoVolts is why absolute levels are refused where a recording does not say
// what its full scale is.
const NoVolts = "no profile and no input full scale: give --input-full-scale for absolute levels"

// Recording is one take that has proved itself, as the estimators want it.
type Recording struct {
	Signal *testsignals.Signal
	// Outputs are the board's outputs, one per row of Samples. The first is
	// the reference of matches.
	Outputs []string
	// Samples are [output][frame], full scale ±1.
	Samples [][]float64
	RateHz  float64
	// OffsetFrames is when the signal's frame 0 arrived.
	OffsetFrames float64
	// ClockStdS is the standard uncertainty, in seconds, of a moment within the
	// recording against its ends: what the drift of the recorder's clock leaves.
	ClockStdS float64
	State     string
	// NominalMainsHz is 50 or 60, or 0 where nobody named it.
	NominalMainsHz float64
	// Problems says, per output, why it holds no signal; "" where it does. Nil
	// when that is not known.
	Problems []string
	// MarkChangeDB is how much louder the marks after the body were than
	// those before, per output; nil when it is not known.
	MarkChangeDB []Estimate
	// Bench is what the profile knows of each input; nil without a profile.
	Bench []BenchInput
}

// BenchInput is what a profile knows of the input that one output is
// recorded at.
type BenchInput struct {
	// VoltsPerUnit is the voltage at which a sample reads 1.0; 0 when not
	// known. VoltsBudget is what its uncertainty consists of, in dB.
	VoltsPerUnit float64
	VoltsBudget  Budget
	// Loopback is the bench's own response, recorded over played in full
	// scales, with LatencyS taken out of its phase; nil when not known. Its
	// uncertainty, and LatencyS's, is the noise of that recording only:
	// PlugRelStd is how well the lead repeats, relative, and LeadDelayStdS the
	// standard uncertainty of its delay.
	Loopback      *Transfer
	LatencyS      Estimate
	PlugRelStd    float64
	LeadDelayStdS float64
	Floor         *Floor
	// LoadingDB is what the inputs took off the loopback's level and a board
	// does not: it is added to gains.
	LoadingDB Estimate
	// THDPercent is the bench's own distortion.
	THDPercent *Estimate
	// loopbacks is how many, each through a gate of its own, are in Loopback; 0 is 1.
	loopbacks int
	// clockStdS is the recording's ClockStdS.
	clockStdS float64
}

// bench returns what is known of output i, the zero value without a profile.
func (r *Recording) bench(i int) BenchInput {
	b := BenchInput{}
	if i < len(r.Bench) {
		b = r.Bench[i]
	}
	b.clockStdS = r.ClockStdS
	return b
}

// problem returns why output i holds no signal, "" when it does.
func (r *Recording) problem(i int) string {
	if i < len(r.Problems) {
		return r.Problems[i]
	}
	return ""
}

// part returns the frames of span, which counts from the signal's start, in
// row i; ok is false when the recording does not hold them all.
func (r *Recording) part(i int, span testsignals.Span) (x []float64, ok bool) {
	at := span.Shift(int(r.OffsetFrames + 0.5))
	if at.Start < 0 || at.End > len(r.Samples[i]) || at.Len() <= 0 {
		return nil, false
	}
	return r.Samples[i][at.Start:at.End], true
}

// quiet returns the spans, in frames of the recording, where only the board's
// own noise is: the lead, and the last part of the tail.
func (r *Recording) quiet() []testsignals.Span {
	at := int(r.OffsetFrames + 0.5)
	lead, tail := r.Signal.Lead, r.Signal.Tail
	lead.Start += min(int(settleS*r.RateHz), lead.Len()/4)
	tail.Start += tail.Len() / 2
	return []testsignals.Span{lead.Shift(at), tail.Shift(at)}
}
