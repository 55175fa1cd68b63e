package analysis

// Delay returns the whole delay of g from the signal's frame 0 in seconds,
// found from the phase between 100 Hz and 10 kHz.
func (g *Gated) Delay() (Estimate, error) {
	line, err := fitDelay(g.phasePoints())
	if err != nil {
		return Estimate{}, err
	}
	return Estimate{g.ArrivalS + line.delayS, line.delayStd}, nil
}

// AtReference returns the magnitude in dB at 1 kHz with its standard
// uncertainty.
func (g *Gated) AtReference() Estimate {
	i := NearestIndex(g.FrequencyHz, gridReferenceHz)
	return Estimate{g.MagnitudeDB(i), DBFromRelative(g.RelStd(i))}
}
