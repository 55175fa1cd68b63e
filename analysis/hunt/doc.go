// Package hunt turns the silences of a hum hunt into what they say: how loud
// each group of hum is, what each change did to it, what causes that fits, and
// what to try next.
//
// A hunt is an experiment. The board is recorded in silence as it was found
// and then under one condition after another; each recording is a [Reading]
// per output. [Changes] are what the conditions did, in dB with their
// uncertainty. [Weigh] compares physical models of the causes by how well they
// foretell the pattern of the harmonics and what each condition did, and gives
// each cause a score, the evidence for and against it, and the condition that
// would tell most. [NextSearch] finds the one device among many that hums.
//
// In this room: pure functions over readings and histories. Not in this room:
// files, devices, the time of day, the operator. The order of things at the
// bench is in cmd/boardproof/internal/procedure; what a condition asks of the
// operator's hands, and its safety words, are there too.
package hunt
