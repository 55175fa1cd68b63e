package change

import (
	"fmt"
	"math"
	"strings"
)

func named(outputs []string) string {
	if len(outputs) == 1 {
		return "output " + outputs[0]
	}
	last := len(outputs) - 1
	return "outputs " + strings.Join(outputs[:last], ", ") + " and " + outputs[last]
}

func lostOrGained(db float64) string {
	if db < 0 {
		return "lost"
	}
	return "gained"
}

func moreOrLess(d float64) string {
	if d < 0 {
		return "less"
	}
	return "more"
}

func louder(db float64) string {
	if db < 0 {
		return decibels(db) + " quieter"
	}
	return decibels(db) + " louder"
}

// decibels is without a sign, with as many places as say something.
func decibels(db float64) string { return figure(math.Abs(db)) + " dB" }

func signedDB(db float64) string { return signedFigure(db) + " dB" }

func signedFigure(v float64) string {
	if v > 0 {
		return "+" + figure(v)
	}
	return figure(v)
}

// figure has two decimals, or two digits below that.
func figure(v float64) string {
	places := 2
	switch a := math.Abs(v); {
	case a >= 10:
		places = 1
	case a > 0 && a < 0.1:
		places = 3
	}
	return strings.ReplaceAll(fmt.Sprintf("%.*f", places, v), "-", "−")
}

// bounded is a difference without its sign.
func bounded(r Row) string {
	s := figure(math.Abs(r.Difference)) + " " + r.Unit
	if r.Bound != "" {
		return "at least " + s
	}
	return s
}

func hertz(f float64) string {
	if f >= 1000 {
		return fmt.Sprintf("%.3g kHz", f/1000)
	}
	return fmt.Sprintf("%.3g Hz", f)
}
