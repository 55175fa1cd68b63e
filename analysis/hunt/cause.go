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

// Describe says in a sentence what the cause is and what commonly cures it.
func Describe(cause string) string { return "" }
