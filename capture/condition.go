package capture

// Condition is one way in which the bench differs from how the board was found
// while a take is made. A simulated bench acts on it; on a real one it is what
// the operator was asked to do.
type Condition struct {
	Change Change `json:"change"`
	// Subject names what is changed: an output, a device. It is empty where
	// the change needs none.
	Subject string `json:"subject,omitempty"`
}

// Change is what is done to the bench or the board for a condition.
type Change string

// The changes that are known.
const (
	// OutputUnplugged: whatever else is connected to the output named, such as
	// an amplifier, is unplugged from it.
	OutputUnplugged Change = "output unplugged"
	// OutputIsolated: a signal transformer is put into the lead of the output
	// named.
	OutputIsolated Change = "output isolated"
	// SupplyOff: the supply of the device named is off, of every device where
	// none is named.
	SupplyOff Change = "supply off"
	// OnBattery: the device named runs on a battery, the whole board where
	// none is named.
	OnBattery Change = "on battery"
	// LaptopOnBattery: the bench's computer runs without its charger.
	LaptopOnBattery Change = "laptop on battery"
	// OtherOutlet: board, amplifiers and bench share one mains outlet.
	OtherOutlet Change = "other outlet"
	// InputShorted: a shorted plug is in the board's input.
	InputShorted Change = "input shorted"
	// DeviceBypassed: the device named is taken out of the signal's way by a
	// short lead around it.
	DeviceBypassed Change = "device bypassed"
	// BoardTurned: the board is turned by a quarter, in its place.
	BoardTurned Change = "board turned"
	// LightsOff: lights and dimmers of the room are off.
	LightsOff Change = "lights off"
)
