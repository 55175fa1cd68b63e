package main

import (
	"boardproof/analysis/hunt"
)

// source is a source's waveform, at a level at the output where it is loudest
// as found.
type spiceSource struct {
	name, wave string
	dBu        float64
}

// spiceCase is a circuit to hunt in: the parts that differ from the usual, and
// its causes, the stronger first.
type spiceCase struct {
	name    string
	truth   []string
	parts   map[string]string
	sources []spiceSource
}

type values = map[string]string

// spiceCases are drawn from what textbooks on interference list as couplings:
// common impedance, stray capacitance, mutual inductance, supply.
var spiceCases = []spiceCase{
	{"amplifier B's earth, isolated split", []string{hunt.GroundLoop}, values{"split": "yb", "rbb": "1e9"}, []spiceSource{{"vampb", "earth", -52}}},
	{"two amplifiers, one ground", []string{hunt.GroundLoop}, nil, []spiceSource{{"vampb", "earth", -58}}},
	{"amplifier A and an earthed supply", []string{hunt.GroundLoop}, values{"rsup": "0.4", "ryb": open}, []spiceSource{{"vampa", "earth", -62}}},
	{"laptop's charger and an earthed supply", []string{hunt.GroundLoop}, values{"rsup": "0.4", "rya": open, "ryb": open}, []spiceSource{{"vlap", "earth", -60}}},
	{"laptop's charger and amplifier B", []string{hunt.GroundLoop}, values{"split": "yb", "rbb": "1e9"}, []spiceSource{{"vlap", "pulses", -66}}},
	{"clock round the laptop's earth", []string{hunt.USB}, values{"split": "yb", "rbb": "1e9"}, []spiceSource{{"vlap", "clock", -70}}},
	{"ripple in the drive", []string{hunt.Ripple}, values{"rps2": "1meg"}, []spiceSource{{"v2", "ripple", -60}}},
	{"half-wave ripple in the fuzz", []string{hunt.Ripple}, values{"rps1": "3meg"}, []spiceSource{{"v1", "half", -63}}},
	{"ripple in all devices", []string{hunt.Ripple}, values{"rps1": "5meg", "rps2": "5meg", "rps3": "5meg"}, []spiceSource{{"v1", "ripple", -66}, {"v2", "ripple", -66}, {"v3", "ripple", -66}}},
	{"field at an open input", []string{hunt.Electric}, values{"rsrc": "250k", "cfin": "2p"}, []spiceSource{{"vfld", "mains", -55}}},
	{"field at a node of the drive", []string{hunt.Electric}, values{"rnode2": "470k", "cf2": "0.5p"}, []spiceSource{{"vfld", "mains", -60}}},
	{"coil at the input", []string{hunt.Magnetic}, values{"kin": "0.001"}, []spiceSource{{"ifld", "coil", -58}}},
	{"coil at the input, rectifier's current", []string{hunt.Magnetic}, values{"kin": "0.001"}, []spiceSource{{"ifld", "pulses", -62}}},
	{"coil beside output B's lead", []string{hunt.Magnetic}, values{"kpb": "0.002"}, []spiceSource{{"ifld", "coil", -60}}},
	{"dimmer by its field, at the input", []string{hunt.Dimmer}, values{"rsrc": "250k", "cfin": "2p"}, []spiceSource{{"vfld", "dimmer", -58}}},
	{"dimmer through a coil, at the input", []string{hunt.Dimmer}, values{"kin": "0.001"}, []spiceSource{{"ifld", "dimmer", -62}}},
	{"converter of the delay", []string{hunt.Converter}, values{"rps3": "1meg"}, []spiceSource{{"v3", "whine", -68}}},
	{"converter of the fuzz, with mains about", []string{hunt.Converter}, values{"rps1": "1meg", "rsrc": "20k", "cfin": "2p"}, []spiceSource{{"v1", "whine2", -64}, {"vfld", "mains", -84}}},
	{"two converters", []string{hunt.Converter}, values{"rps1": "1meg", "rps3": "1meg"}, []spiceSource{{"v1", "whine", -68}, {"v3", "whine2", -70}}},
	{"hiss only", []string{hunt.HissOnly}, nil, nil},
	{"the recorder's own hum", []string{hunt.Bench}, nil, []spiceSource{{"vown", "mains", -70}}},
	{"the recorder's own supply", []string{hunt.Bench}, nil, []spiceSource{{"vown", "ripple", -68}}},
	{"earth loop and ripple", []string{hunt.GroundLoop, hunt.Ripple}, values{"split": "yb", "rbb": "1e9", "rps2": "1meg"}, []spiceSource{{"vampb", "earth", -55}, {"v2", "ripple", -60}}},
	{"earth loop and clock", []string{hunt.GroundLoop, hunt.USB}, values{"split": "yb", "rbb": "1e9"}, []spiceSource{{"vampb", "earth", -58}, {"vlap", "clock", -68}}},
	{"field at the input and earth loop", []string{hunt.Electric, hunt.GroundLoop}, values{"rsrc": "250k", "cfin": "2p", "split": "yb", "rbb": "1e9"}, []spiceSource{{"vfld", "mains", -56}, {"vampb", "pulses", -62}}},
	{"coil and converter", []string{hunt.Magnetic, hunt.Converter}, values{"kin": "0.001", "rps3": "1meg"}, []spiceSource{{"ifld", "coil", -60}, {"v3", "whine", -68}}},
	{"dimmer and ripple", []string{hunt.Dimmer, hunt.Ripple}, values{"rsrc": "250k", "cfin": "2p", "rps2": "1meg"}, []spiceSource{{"vfld", "dimmer", -57}, {"v2", "ripple", -63}}},
}
