package report

import (
	"math"
	"strconv"
	"strings"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
)

const (
	// none stands in a cell that has nothing to say.
	none = "—"
	// finestPlace is the last decimal place that is worth a reader's time.
	finestPlace = -6
	// hugeValue is where plain digits would no longer fit a column.
	hugeValue = 1e8
)

// roundUncertainty rounds u, above 0 and finite, to two significant digits and
// returns it with the power of ten of its last digit: JCGM 100:2008, 7.2.6.
// That clause rounds 10.47 up to 11 and, by common sense, 28.05 down to 28;
// here "common sense" is rounding to nearest where that loses less than 1 %.
func roundUncertainty(u float64) (rounded float64, place int) {
	_, exp, _ := strings.Cut(strconv.FormatFloat(u, 'e', -1, 64), "e")
	e, _ := strconv.Atoi(exp)
	place = e - 1
	n := u / math.Pow10(place)
	whole := math.Round(n)
	if n-whole > 0.01*n {
		whole++
	}
	if whole >= 100 {
		whole, place = 10, place+1
	}
	return whole * math.Pow10(place), place
}

// toPlace writes v with 10^place as its last digit.
func toPlace(v float64, place int) string {
	if math.Abs(v) >= hugeValue {
		return minus(strconv.FormatFloat(v, 'g', 3, 64))
	}
	if place > 0 {
		v = math.Round(v/math.Pow10(place)) * math.Pow10(place)
		place = 0
	}
	s := strconv.FormatFloat(v, 'f', -place, 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return minus(s)
}

func minus(s string) string { return strings.ReplaceAll(s, "-", "−") }

// plain writes a number that has no uncertainty of its own, such as a limit,
// with as few digits as say it, six at the most.
func plain(v float64) string {
	if v == 0 {
		return "0"
	}
	if a := math.Abs(v); a >= hugeValue || a < 1e-4 {
		return minus(strconv.FormatFloat(v, 'g', 3, 64))
	}
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 6, 64), 64)
	return minus(strconv.FormatFloat(rounded, 'f', -1, 64))
}

// signed writes a leading + where the unit is one of comparison.
func signed(s, unit string) string {
	positive := !strings.HasPrefix(s, "−") && strings.Trim(s, "0.") != ""
	if positive && (unit == "dB" || unit == "dBu" || unit == "µs" || unit == "ms") {
		return "+" + s
	}
	return s
}

// figure is a reading as people read it.
type figure struct {
	value, uncertainty, limit, margin string
}

func figureOf(j verdict.Judged) figure {
	factor, unit := scale(j)
	f := figure{value: none, uncertainty: none, limit: limitWords(j.Limit, factor, unit), margin: none}
	if j.Absent || !finite(j.Value) {
		return f
	}
	value, u := j.Value*factor, j.Uncertainty*factor
	place := placeOf(value, u)
	if u > 0 && finite(u) {
		f.uncertainty = uncertaintyWords(u, place)
	}
	switch {
	case isPolarity(j.Quantity):
		f.value = polarityWords(value)
		f.limit = polarityLimit(j.Limit)
	case j.UpperBound:
		up := math.Ceil(value/math.Pow10(place)-1e-9) * math.Pow10(place)
		f.value, f.uncertainty = "< "+signed(toPlace(up, place), unit)+space(unit), none
	case j.LowerBound:
		down := math.Floor(value/math.Pow10(place)+1e-9) * math.Pow10(place)
		f.value, f.uncertainty = "> "+signed(toPlace(down, place), unit)+space(unit), none
	default:
		f.value = signed(toPlace(value, place), unit) + space(unit)
	}
	if !isPolarity(j.Quantity) {
		f.margin = marginWords(j, factor, place)
	}
	return f
}

// scale picks the unit of a row: a value and its limits are read in one unit.
func scale(j verdict.Judged) (factor float64, unit string) {
	largest := 0.0
	if !j.Absent && finite(j.Value) {
		largest = math.Abs(j.Value)
	}
	if j.Limit != nil {
		for _, l := range []*float64{j.Limit.Min, j.Limit.Max} {
			if l != nil && finite(*l) {
				largest = max(largest, math.Abs(*l))
			}
		}
	}
	return scaleUnit(largest, j.Unit)
}

func scaleUnit(largest float64, unit string) (float64, string) {
	switch {
	case unit == "Hz" && largest >= 1e4:
		return 1e-3, "kHz"
	case unit == "µs" && largest >= 1e4:
		return 1e-3, "ms"
	}
	return 1, oneLine(unit)
}

// placeOf is where a value's last digit stands: where its uncertainty's does,
// or, without one, at the fourth significant digit at the most.
func placeOf(value, u float64) int {
	if u > 0 && finite(u) {
		_, place := roundUncertainty(u)
		return max(place, finestPlace)
	}
	if value == math.Trunc(value) {
		return 0
	}
	_, place := roundUncertainty(math.Abs(value))
	return min(max(place-2, finestPlace), 0)
}

func uncertaintyWords(u float64, place int) string {
	rounded, own := roundUncertainty(u)
	if own < place {
		rounded = math.Ceil(u/math.Pow10(place)) * math.Pow10(place)
	}
	return toPlace(rounded, place)
}

// marginWords says how far inside (+) or outside (−) its nearest limit a value
// is. A bound has at least the margin that the figure would have at the bound,
// if it is a bound on the side of the limit.
func marginWords(j verdict.Judged, factor float64, place int) string {
	if j.Limit == nil {
		return none
	}
	margin := verdict.Margin(j.Value, *j.Limit)
	if !finite(margin) {
		return none
	}
	s := toPlace(margin*factor, place)
	if !strings.HasPrefix(s, "−") {
		s = "+" + s
	}
	if j.UpperBound || j.LowerBound {
		off := (j.UpperBound && j.Limit.Min != nil) || (j.LowerBound && j.Limit.Max != nil)
		if margin < 0 || off {
			return none
		}
		return "> " + s
	}
	return s
}

// fourDigits rounds what a mask gives between its points to what one can read.
func fourDigits(v float64) float64 {
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 4, 64), 64)
	if err != nil {
		return v
	}
	return rounded
}

func limitWords(l *verdict.Limit, factor float64, unit string) string {
	if l == nil {
		return none
	}
	one := func(v float64) string {
		s := plain(fourDigits(v * factor))
		if unit == "dBu" && !strings.ContainsAny(s, ".e") {
			s += ".0"
		}
		return signed(s, unit)
	}
	switch {
	case l.Min != nil && l.Max != nil && *l.Min == *l.Max:
		return "exactly " + one(*l.Min) + space(unit)
	case l.Min != nil && l.Max != nil:
		return one(*l.Min) + " to " + one(*l.Max) + space(unit)
	case l.Min != nil:
		return "at least " + one(*l.Min) + space(unit)
	case l.Max != nil:
		return "at most " + one(*l.Max) + space(unit)
	}
	return none
}

func isPolarity(quantity string) bool {
	return quantity == analysis.Polarity || quantity == analysis.PolarityMatch
}

func polarityWords(v float64) string {
	switch v {
	case 1:
		return "same"
	case -1:
		return "inverted"
	}
	return plain(v)
}

// polarityLimit reads a limit on a quantity that knows two values only.
func polarityLimit(l *verdict.Limit) string {
	switch {
	case l == nil:
		return none
	case l.Min != nil && *l.Min > -1 && *l.Min <= 1:
		return "same"
	case l.Max != nil && *l.Max < 1 && *l.Max >= -1:
		return "inverted"
	}
	return limitWords(l, 1, "")
}

// space puts the unit behind a number; percent too is set apart: SI brochure
// (2019), 5.4.7.
func space(unit string) string {
	if unit == "" || unit == "1" {
		return ""
	}
	return " " + unit
}
