package simboard

import (
	"math"
	"slices"

	"boardproof/capture"
)

// lead returns the index of the loopback lead that a patch plugs into an
// input, from 1; -1 for none. only is the input that a patch with one lead
// connects.
func (f *Interface) lead(patch capture.Patch, input, only int) int {
	switch patch {
	case capture.Loopback:
		return input - 1
	case capture.LoopbackSwapped:
		if input <= 2 {
			return 2 - input
		}
		return input - 1
	case capture.LoopbackOne, capture.LoopbackSeries:
		if input == only {
			return 0
		}
	}
	return -1
}

func (f *Interface) leadOhms(lead int) float64 {
	if lead < len(f.LeadOhms) {
		return f.LeadOhms[lead]
	}
	return 0
}

// crosstalk is what an input's terminals give into another input, over the
// former: a capacitance into a resistance.
func (f *Interface) crosstalk(fHz float64) complex128 {
	x := complex(0, 2*math.Pi*fHz*f.CrosstalkFarads*f.CrosstalkOhms)
	return x / (1 + x)
}

// leadAt returns the lead at an input in this take, -1 for none.
func (r *run) leadAt(input int) int {
	return r.cfg.Interface.lead(r.req.Patch, input, r.req.Inputs[0])
}

// seriesOhms is what lies between the output and an input that has a lead.
func (r *run) seriesOhms(input int) float64 {
	f := &r.cfg.Interface
	ohms := f.leadOhms(r.leadAt(input))
	if r.req.Patch == capture.LoopbackSeries {
		ohms += r.req.SeriesOhms * (1 + f.SeriesOff)
	}
	return ohms
}

// outputAt returns the index of the board's output at an input in this take,
// -1 for none.
func (r *run) outputAt(input int) int {
	if !r.onBoard() {
		return -1
	}
	return slices.Index(r.cfg.boardInputs(r.req.Patch), input-1)
}

// addCrosstalk adds to an input's terminals what comes across from the others.
func (r *run) addCrosstalk(bins []complex128, input int, emf, buffer []complex128) {
	f, t := &r.cfg.Interface, r.transform
	if f.CrosstalkFarads == 0 {
		return
	}
	for other := 1; other <= len(f.Inputs); other++ {
		output := r.outputAt(other)
		switch {
		case other == input:
		case r.leadAt(other) >= 0:
			in, ohms := &f.Inputs[other-1], r.seriesOhms(other)
			for k := range bins {
				hz := float64(k) * t.stepHz()
				bins[k] += emf[k] * f.loopback(in, ohms, hz) * f.crosstalk(hz)
			}
		case output >= 0:
			r.ladder().each(len(bins), t.stepHz(), func(k int, p *panel, x float64) {
				bins[k] += buffer[k] * p.complexAt(1+output, x) * f.crosstalk(float64(k)*t.stepHz())
			})
		}
	}
	bins[0] = 0
}
