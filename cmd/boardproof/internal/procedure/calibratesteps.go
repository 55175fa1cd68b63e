package procedure

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"boardproof/analysis"
	"boardproof/calibration"
	"boardproof/capture"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/testsignals"
)

// What is asked for in the steps of a calibration that can be left out.
const (
	swapPrompt   = "exchange the plugs of the loopback lead between inputs %d and %d, nothing else"
	sourcePrompt = "unplug the loopback lead and connect the known source, %g V at %g Hz, to every input; wait until it is steady"
	onePrompt    = "connect the output to input %d alone with the short lead; " +
		"terminate every other input with a shorting plug, or a plug with a resistor of 1 kΩ or less"
	seriesPrompt = "put the resistor of %g Ω in series into the lead to input %d, everything else as it is"
	sourceS      = 4.0
)

// linearity plays tones over 60 dB. A level that does not come back whole, as
// it clips an input or lies in its noise, is left out and said.
func (s *Sitting) linearity(ctx context.Context, p *calibration.Profile) error {
	var tones []*analysis.Recording
	for _, level := range calibration.LinearityLevels {
		what := fmt.Sprintf("tone at %g dBFS", level)
		t, err := s.Take(ctx, what, calibration.LinearityTone(s.Instrument.Describe().RateHz, level), capture.Loopback, "")
		var refused *RefusedTake
		if errors.As(err, &refused) && level != calibration.LinearityReference {
			s.Person.Tell(ctx, talk.Remarkf("linearity at %g dBFS is left out: %s", level, refused.Reason))
			continue
		}
		if err != nil {
			return err
		}
		rec, err := s.Recording(t)
		if err != nil {
			return err
		}
		tones = append(tones, rec)
	}
	return calibration.AddLinearity(p.Inputs, tones)
}

// swapInputs sweeps with the lead's plugs exchanged.
func (s *Sitting) swapInputs(ctx context.Context, plan CalibrationPlan, p *calibration.Profile, straight *analysis.Recording) error {
	if len(s.Patching) < 2 {
		return errors.New("comparing inputs by swapping needs two inputs, the bench has one")
	}
	if err := s.ready(ctx, fmt.Sprintf(swapPrompt, s.Patching[0].Input, s.Patching[1].Input), ""); err != nil {
		return err
	}
	rec, err := s.leadSweep(ctx, "sweep with the plugs exchanged", plan, capture.LoopbackSwapped)
	if err != nil {
		return err
	}
	if p.Mismatch, err = calibration.Reversal(straight, rec, p.Inputs); err != nil {
		return err
	}
	if p.Mismatch.LeadAsymmetric() {
		l := p.Mismatch.LeadDB
		s.Person.Tell(ctx, talk.Remark{Severity: talk.Caution, Text: fmt.Sprintf("the two ends of the loopback lead differ by %.3f ± %.3f dB: use a better lead and calibrate again",
			l.Value, analysis.CoverageK*l.Std)})
	}
	return nil
}

func (s *Sitting) leadSweep(ctx context.Context, what string, plan CalibrationPlan, patch capture.Patch) (*analysis.Recording, error) {
	t, err := s.Take(ctx, what, testsignals.New(testsignals.Sweep, s.Instrument.Describe().RateHz, plan.LevelDBFS, 0), patch, "")
	if err != nil {
		return nil, err
	}
	return s.Recording(t)
}

// knownSource reads each input's full scale from the source, and the output's
// from that of the first by the loopback.
func (s *Sitting) knownSource(ctx context.Context, plan CalibrationPlan, p *calibration.Profile) error {
	if err := s.ready(ctx, fmt.Sprintf(sourcePrompt, plan.Source.VoltsRMS, plan.Source.FrequencyHz), ""); err != nil {
		return err
	}
	spec := testsignals.New(testsignals.Silence, s.Instrument.Describe().RateHz, minPlayDBFS, sourceS)
	t, err := s.Take(ctx, "the known source", spec, capture.KnownSource, "")
	if err != nil {
		return err
	}
	rec, err := s.Recording(t)
	if err != nil {
		return err
	}
	p.Source = plan.Source
	for row := range p.Inputs {
		full, err := plan.Source.InputFullScale(rec, row)
		if err != nil {
			return fmt.Errorf("input %d: %w", p.Inputs[row].Channel, err)
		}
		if output := p.Inputs[row].TakeFullScale(full); row == 0 {
			p.OutputFullScaleDBu, p.OutputFullScaleBudget = output.Estimate(), output.Budget
		}
	}
	return nil
}

// oneByOne gives each input in turn the lead alone: what crosses into the
// others, and with a resistor in the lead, its impedance.
func (s *Sitting) oneByOne(ctx context.Context, plan CalibrationPlan, p *calibration.Profile) error {
	crosstalk := plan.Crosstalk && len(s.Patching) > 1
	if !crosstalk && plan.Resistor.Ohms == 0 {
		return nil
	}
	for i := range p.Inputs {
		one := *s
		one.Patching = append([]calibration.Patching{s.Patching[i]}, slices.Delete(slices.Clone(s.Patching), i, i+1)...)
		if err := s.ready(ctx, fmt.Sprintf(onePrompt, s.Patching[i].Input), ""); err != nil {
			return err
		}
		if crosstalk {
			if err := one.crosstalk(ctx, plan, p, i); err != nil {
				return err
			}
		}
		if plan.Resistor.Ohms > 0 {
			if err := one.impedance(ctx, plan, &p.Inputs[i]); err != nil {
				return err
			}
		}
	}
	if plan.Resistor.Ohms > 0 && plan.OutputOhms > 0 {
		p.LoadingDB = calibration.MeasuredLoading(plan.OutputOhms, p.Inputs)
	}
	return nil
}

// crosstalk reads what crosses from input i, the sitting's first, into the
// others.
func (s *Sitting) crosstalk(ctx context.Context, plan CalibrationPlan, p *calibration.Profile, i int) error {
	var to []*calibration.Input
	for j := range p.Inputs {
		if j != i {
			to = append(to, &p.Inputs[j])
		}
	}
	for _, hz := range calibration.CrosstalkHz {
		spec := testsignals.New(testsignals.Tone, s.Instrument.Describe().RateHz, plan.LevelDBFS, 0)
		spec.FrequencyHz = hz
		t, err := s.Take(ctx, fmt.Sprintf("tone of %g Hz into input %d alone", hz, p.Inputs[i].Channel), spec, capture.LoopbackOne, "")
		if err != nil {
			return err
		}
		rec, err := s.Recording(t)
		if err != nil {
			return err
		}
		if err := calibration.AddCrosstalk(&p.Inputs[i], to, rec); err != nil {
			return err
		}
	}
	return nil
}

// impedance sweeps into the sitting's first input, plain and with the
// resistor in the lead.
func (s *Sitting) impedance(ctx context.Context, plan CalibrationPlan, in *calibration.Input) error {
	plain, err := s.leadSweep(ctx, fmt.Sprintf("sweep into input %d alone", in.Channel), plan, capture.LoopbackOne)
	if err != nil {
		return err
	}
	if err := s.ready(ctx, fmt.Sprintf(seriesPrompt, plan.Resistor.Ohms, in.Channel), ""); err != nil {
		return err
	}
	s.seriesOhms = plan.Resistor.Ohms
	series, err := s.leadSweep(ctx, fmt.Sprintf("sweep into input %d through the resistor", in.Channel), plan, capture.LoopbackSeries)
	if err != nil {
		return err
	}
	in.Impedance, err = calibration.NewImpedance(plain, series, 0, plan.Resistor, plan.OutputOhms)
	if err != nil {
		return fmt.Errorf("input %d: %w", in.Channel, err)
	}
	return nil
}
