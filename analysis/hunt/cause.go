package hunt

// Causes, in plain words. Each is weighed.
const (
	GroundLoop = "ground loop"
	Magnetic   = "magnetic pick-up"
	Ripple     = "supply ripple"
	Electric   = "electric-field pick-up"
	Dimmer     = "phase-cut dimmer"
	Converter  = "converter whine"
	Beat       = "beat of two converters"
	USB        = "clock or USB lines of the laptop"
	HissOnly   = "nothing but hiss"
	Bench      = "the bench itself"
)

// Causes lists all causes.
func Causes() []string {
	return []string{GroundLoop, Magnetic, Ripple, Electric, Dimmer, Converter, Beat, USB, HissOnly, Bench}
}

// descriptions say what each cause is, and what commonly cures it (common
// practice, no source).
var descriptions = map[string]string{
	GroundLoop: "a mains current runs round a loop of earths and drops a voltage along a cable's shield; isolate that output's signal with a transformer, or feed all from one outlet, and never lift an earth",
	Magnetic:   "a transformer's stray field induces a voltage in a loop of the wiring; turn or move the board or the transformer, and keep the loop small",
	Ripple:     "what the rectifier leaves on a supply outlet gets into the signal; use another outlet or supply for that device, or a battery",
	Electric:   "the mains' electric field gets in at an open shield or a high-impedance input; mend the shield, or shorten what is unshielded",
	Dimmer:     "the sharp edges of a phase-cut dimmer get in; turn it off or full up, or move away from its wiring",
	Converter:  "a switching converter whines; feed that device from another outlet, or filter it",
	Beat:       "two switching converters differ by an audible frequency; feed one of their devices from another supply",
	USB:        "the clock of the bench's computer gets in by its earth; run it on battery, or isolate the interface",
	HissOnly:   "there is no hum to hunt, only the noise that every circuit has",
	Bench:      "the bench hums by itself; mend the bench before the board",
}

// Describe says in a sentence what a cause is and what commonly cures it; ""
// for one that is not known.
func Describe(cause string) string { return descriptions[cause] }
