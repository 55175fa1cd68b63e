package change

import "math"

// Chart is a control chart of individual values with a moving range of two.
type Chart struct {
	Centre float64 `json:"centre"`
	Lower  float64 `json:"lower"`
	Upper  float64 `json:"upper"`
	// MeanRange is the mean of the moving ranges, UpperRange the limit of one.
	MeanRange  float64 `json:"mean_range"`
	UpperRange float64 `json:"upper_range"`
	// Beyond are the indexes of values outside the limits.
	Beyond []int `json:"beyond"`
	// Run is the longest run of values on one side of the centre.
	Run int `json:"run"`
}

// For ranges of two, d2 = 2/√π = 1.128 and D4 = 3.267: Shewhart's constants,
// as in tables for control charts (from memory). Three sigma are 3/d2 = 2.66
// mean ranges. d2 is the mean range of two normal values of sigma 1: closed form.
const (
	d2 = 1.1283791670955126
	d4 = 3.267
	// longRun on one side of the centre is not by chance: rule 2 of the usual
	// rules for control charts (from memory); one in 256 runs of nine is.
	longRun = 9
)

// ControlChart makes the chart of values in the order of time. profile names
// the calibration that each belongs to: a range across two calibrations is
// none of the bench's scatter. ok is false where there are fewer than two
// values of one profile in a row.
func ControlChart(values []float64, profile []string) (c Chart, ok bool) {
	ranges, run, side := 0, 0, 0.0
	for i, v := range values {
		c.Centre += v / float64(len(values))
		if i > 0 && profile[i] == profile[i-1] {
			c.MeanRange += math.Abs(v - values[i-1])
			ranges++
		}
	}
	if ranges == 0 {
		return Chart{}, false
	}
	c.MeanRange /= float64(ranges)
	c.UpperRange = d4 * c.MeanRange
	c.Lower, c.Upper = c.Centre-3/d2*c.MeanRange, c.Centre+3/d2*c.MeanRange
	for i, v := range values {
		if v < c.Lower || v > c.Upper {
			c.Beyond = append(c.Beyond, i)
		}
		if s := sign(v - c.Centre); s != side {
			run, side = 0, s
		}
		run++
		c.Run = max(c.Run, run)
	}
	return c, true
}

// OutOfControl says whether the chart shows more than scatter.
func (c Chart) OutOfControl() bool { return len(c.Beyond) > 0 || c.Run >= longRun }

func sign(v float64) float64 {
	switch {
	case v > 0:
		return 1
	case v < 0:
		return -1
	}
	return 0
}
