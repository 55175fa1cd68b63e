package main

import (
	"fmt"
	"math"
	"strings"

	"boardproof/analysis"
	"boardproof/calibration"
)

// printProfile prints a profile's figures, each with its uncertainty expanded
// to about 95 % (k = 2).
func (a *app) printProfile(p *calibration.Profile) {
	note := ""
	if p.Simulated {
		note = ", SIMULATED"
	}
	a.printf("  profile %s of %s, valid until %s%s\n", p.ID, local(p.Created), local(p.ValidUntil), note)
	if a.now().After(p.ValidUntil) {
		a.printf("  EXPIRED: absolute readings are refused until it is calibrated again\n")
	}
	if made := madeHow(p); made != "" {
		a.wrapped("  ", made)
	}
	a.printf("  output %d full scale %.2f ± %.2f dBu\n", p.Output, p.OutputFullScaleDBu.Value,
		expanded(p.OutputFullScaleBudget, p.OutputFullScaleDBu))
	for i := range p.Inputs {
		a.printInput(&p.Inputs[i])
	}
	if m := p.Mismatch; m != nil {
		a.wrapped("  ", fmt.Sprintf("input %d over input %d, by swapping: %s dB at 1 kHz, %s µs, and up to %s dB more at %.0f Hz; the lead's own ends %s dB",
			m.Input, m.Reference, figure(m.DB, 1), figure(m.DelayS, 1e6), figure(m.WorstDB, 1), m.WorstHz, figure(m.LeadDB, 1)))
	}
	a.printf("  (± is for k = 2, about 95 %%)\n")
}

// madeHow says who made p, with what, and how the bench stood.
func madeHow(p *calibration.Profile) string {
	var parts []string
	add := func(format string, args ...any) { parts = append(parts, fmt.Sprintf(format, args...)) }
	if p.Operator != "" {
		add("by %s", p.Operator)
	}
	if m := p.MeterReading; m != nil {
		kind := "averaging"
		if m.TrueRMS {
			kind = "true RMS"
		}
		name := m.Name
		if name == "" {
			name = "a meter"
		}
		add("%s (%s) read %.4g V of a tone of %g Hz, ±(%g %% + %g digits)", name, kind, m.VoltsRMS, m.FrequencyHz, m.PercentOfReading, m.DigitsOff)
	}
	if k := p.Source; k != nil {
		name := k.Name
		if name == "" {
			name = "a known source"
		}
		add("%s gave %g V at %g Hz, ±%g %%", name, k.VoltsRMS, k.FrequencyHz, k.Percent)
	}
	if p.Controls != "" {
		add("controls: %s", p.Controls)
	}
	if p.TemperatureC != nil {
		add("room at %g °C", *p.TemperatureC)
	}
	return strings.Join(parts, "; ")
}

func (a *app) printInput(in *calibration.Input) {
	a.printf("  input %d full scale %.2f ± %.2f dBu, latency %.3f ms\n", in.Channel,
		in.FullScaleDBu.Value, expanded(in.FullScaleBudget, in.FullScaleDBu), in.LatencyS.Value*1000)
	const lead = "    "
	noise := in.Floor.Noise[analysis.WeightA]
	a.wrapped(lead, fmt.Sprintf("noise A-weighted %s dBu, hum %s dBu, THD %s %%", figure(inDBu(noise), 1), figure(inDBu(in.Floor.Hum), 1), figure(in.THDPercent, 1)))
	if z := in.Impedance; z != nil {
		a.wrapped(lead, impedanceWords(z))
	}
	if len(in.Linearity) > 0 {
		a.wrapped(lead, linearityWords(in.Linearity))
	}
	if len(in.Crosstalk) > 0 {
		a.wrapped(lead, crosstalkWords(in.Crosstalk))
	}
}

func impedanceWords(z *calibration.Impedance) string {
	text := "impedance " + figure(z.Ohms, 1e-3) + " kΩ"
	if z.LowerBound {
		text = fmt.Sprintf("impedance above %.3g kΩ", z.Ohms.Value*1e-3)
	}
	if z.WithOutput {
		text += ", the output's with it,"
	}
	if z.Farads != nil {
		text += " beside " + figure(*z.Farads, 1e12) + " pF"
	}
	return text
}

func linearityWords(steps []calibration.LevelStep) string {
	worst, lowest, highest := steps[0], steps[0].ReferenceDBFS, steps[0].ReferenceDBFS
	beyond := func(s calibration.LevelStep) float64 {
		return math.Abs(s.DeviationDB.Value) + analysis.CoverageK*s.DeviationDB.Std
	}
	for _, s := range steps {
		lowest, highest = math.Min(lowest, s.LevelDBFS), math.Max(highest, s.LevelDBFS)
		if beyond(s) > beyond(worst) {
			worst = s
		}
	}
	return fmt.Sprintf("linear from %g to %g dBFS: furthest off at %g dBFS, %s dB against %g dBFS",
		highest, lowest, worst.LevelDBFS, figure(worst.DeviationDB, 1), worst.ReferenceDBFS)
}

func crosstalkWords(all []calibration.Crosstalk) string {
	words := make([]string, len(all))
	for i, c := range all {
		level := figure(c.DB, 1)
		if c.UpperBound {
			level = fmt.Sprintf("below %.0f", c.DB.Value)
		}
		words[i] = fmt.Sprintf("%s dB at %g Hz from input %d", level, c.FrequencyHz, c.From)
	}
	return "crosstalk " + strings.Join(words, ", ")
}

// expanded is the expanded uncertainty of e, of whose budget older profiles
// know nothing.
func expanded(b analysis.Budget, e analysis.Estimate) float64 {
	if len(b) == 0 {
		return analysis.CoverageK * e.Std
	}
	return b.Expanded()
}

func inDBu(volts analysis.Estimate) analysis.Estimate {
	return analysis.Estimate{Value: analysis.DBu(volts.Value), Std: analysis.DBFromRelative(volts.Std / volts.Value)}
}

// figure is value ± expanded uncertainty in another unit, scale of it to one
// of the present, with one digit of the uncertainty, two where that is 1.
func figure(e analysis.Estimate, scale float64) string {
	value, u := e.Value*scale, analysis.CoverageK*e.Std*math.Abs(scale)
	if !(u > 0) || math.IsInf(u, 0) {
		return fmt.Sprintf("%.3g", value)
	}
	exponent := math.Floor(math.Log10(u))
	if u < 2*math.Pow(10, exponent) {
		exponent--
	}
	return fmt.Sprintf("%.*f ± %.*f", max(0, int(-exponent)), value, max(0, int(-exponent)), u)
}
