package hunt

// Condition is one way in which the bench differs from how the board was
// found. The zero value is "as found". Its words are those of
// capture.Condition.
type Condition struct {
	Change string `json:"change,omitempty"`
	// Subject is the output or device that is changed, "" where the change
	// needs none or means all of them.
	Subject string `json:"subject,omitempty"`
}

// The changes, worded as in package capture.
const (
	OutputUnplugged = "output unplugged"
	OutputIsolated  = "output isolated"
	SupplyOff       = "supply off"
	OnBattery       = "on battery"
	LaptopOnBattery = "laptop on battery"
	OtherOutlet     = "other outlet"
	InputShorted    = "input shorted"
	DeviceBypassed  = "device bypassed"
	BoardTurned     = "board turned"
	LightsOff       = "lights off"
)

// AsFound is the condition in which nothing was changed.
var AsFound = Condition{}

// String says the condition in the words of the bench: "output B unplugged".
func (c Condition) String() string {
	switch c.Change {
	case "":
		return "as found"
	case OutputUnplugged:
		return "output " + c.Subject + " unplugged"
	case OutputIsolated:
		return "output " + c.Subject + " isolated"
	case SupplyOff:
		if c.Subject == "" {
			return "all supplies off"
		}
		return "supply of " + c.Subject + " off"
	case OnBattery:
		if c.Subject == "" {
			return "whole board on battery"
		}
		return c.Subject + " on battery"
	case LaptopOnBattery:
		return "laptop on battery"
	case OtherOutlet:
		return "everything on one outlet"
	case InputShorted:
		return "input shorted"
	case DeviceBypassed:
		return c.Subject + " bypassed"
	case BoardTurned:
		return "board turned a quarter"
	case LightsOff:
		return "lights off"
	}
	if c.Subject == "" {
		return c.Change
	}
	return c.Change + ": " + c.Subject
}
