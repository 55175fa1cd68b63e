// Package testsignals makes what boardproof plays: the synchronised
// exponential sweep, the train of band-limited impulses, the tone and the
// silence, each wrapped in a run-in, timing marks and a tail.
//
// A signal is wholly described by its [Spec]: the same Spec always gives the
// same samples, so a Spec that travels inside a WAV file is enough to analyse
// a recording of it years later. Samples are mono, float64, full scale ±1.
//
// In this room: samples and the parameters that made them. Not in this room:
// files, devices, channels and anything that was recorded.
package testsignals
