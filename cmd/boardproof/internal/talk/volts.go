package talk

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// aVoltage is a figure and its unit as people write them from a meter.
var aVoltage = regexp.MustCompile(`^([0-9]*[.,]?[0-9]+(?:[eE][+-]?[0-9]+)?)\s*(µ|μ|u|m|)(?:v|V)?\s*(?:ac|AC|rms|RMS|~)*$`)

// readVolts reads what a multimeter shows, such as 0.775, 0,811 V or 811 mV,
// in volts.
func readVolts(text string) (float64, error) {
	found := aVoltage.FindStringSubmatch(strings.TrimSpace(text))
	if found == nil {
		return 0, fmt.Errorf("%q is no voltage that a meter shows of this tone: write a figure above zero, as in 0.775 or 775 mV", text)
	}
	v, err := strconv.ParseFloat(strings.ReplaceAll(found[1], ",", "."), 64)
	if err != nil || v == 0 {
		return 0, fmt.Errorf("%q is no voltage that a meter shows of this tone: write a figure above zero, as in 0.775 or 775 mV; is the lead in, and the meter on AC volts", text)
	}
	switch found[2] {
	case "m":
		v *= 1e-3
	case "":
	default:
		v *= 1e-6
	}
	return v, nil
}
