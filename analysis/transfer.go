package analysis

import "math"

// onto interpolates t at frequencies in rising order: by a cubic through the four
// points around each, over the logarithm of frequency, in which they are even, and
// straight past its ends. t changes little between its points.
func (t Transfer) onto(frequencyHz []float64) Transfer {
	n := len(t.FrequencyHz)
	out := Transfer{FrequencyHz: frequencyHz, Re: make([]float64, len(frequencyHz)), Im: make([]float64, len(frequencyHz))}
	out.RelStd = onGrid(frequencyHz, t.FrequencyHz, t.RelStd)
	i := 1
	for k, f := range frequencyHz {
		for i < n-1 && t.FrequencyHz[i] < f {
			i++
		}
		x := (f - t.FrequencyHz[i-1]) / (t.FrequencyHz[i] - t.FrequencyHz[i-1])
		if i < 2 || i > n-2 {
			out.Re[k], out.Im[k] = (1-x)*t.Re[i-1]+x*t.Re[i], (1-x)*t.Im[i-1]+x*t.Im[i]
			continue
		}
		x = math.Log(f/t.FrequencyHz[i-1]) / math.Log(t.FrequencyHz[i]/t.FrequencyHz[i-1])
		cubic := func(y []float64) float64 {
			return -y[0]*x*(x-1)*(x-2)/6 + y[1]*(x+1)*(x-1)*(x-2)/2 - y[2]*(x+1)*x*(x-2)/2 + y[3]*(x+1)*x*(x-1)/6
		}
		out.Re[k], out.Im[k] = cubic(t.Re[i-2:i+2]), cubic(t.Im[i-2:i+2])
	}
	return out
}
