package hunt

import "boardproof/analysis"

// SearchTake is one measurement of a search: which devices were on (engaged,
// or powered), and how loud it was then.
type SearchTake struct {
	On []string `json:"on"`
	// RMS is of what is looked for, in volts: Hum, or one group.
	RMS        analysis.Estimate `json:"rms_v"`
	UpperBound bool              `json:"upper_bound,omitempty"`
}

// SearchStep is the next measurement to make.
type SearchStep struct {
	// On are the devices to have on, all others off.
	On []string `json:"on"`
	// Why says in one line what it will tell.
	Why string `json:"why"`
}

// NextSearch proposes the next measurement of a search for the one device of
// a chain that brings the hum, halving the chain each time. found is the
// culprit once it is confirmed; step is nil when the search is over. reason
// says what is known so far, or why no single device was found. History is in
// the order it was made; takes with an unknown device are left out.
func NextSearch(devices []string, history []SearchTake) (step *SearchStep, found, reason string) {
	return nil, "", ""
}
