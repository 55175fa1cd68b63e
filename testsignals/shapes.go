package testsignals

import "math"

// Sinc is sin(πx)/(πx), 1 at 0.
func Sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// RaisedCosine goes from 0 at x = 0 to 1 at x = 1, and stays so beyond both.
func RaisedCosine(x float64) float64 {
	switch {
	case x <= 0:
		return 0
	case x >= 1:
		return 1
	}
	return 0.5 - 0.5*math.Cos(math.Pi*x)
}
