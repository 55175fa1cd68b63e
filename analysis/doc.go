// Package analysis turns volts into readings and curves, each with its
// uncertainty.
//
// Its functions are pure: samples and what is known of them go in, figures
// come out. Signals are float64 slices in volts unless a name says otherwise
// (in full scales when the bench has no profile), frequencies in hertz, times
// in seconds. Standard uncertainties are called Std; what a [Reading] states
// is expanded by k = 2.
//
// In this room: estimators. Not in this room: files, devices, the time of
// day, globals. Limits and decision rules are in analysis/verdict.
package analysis
