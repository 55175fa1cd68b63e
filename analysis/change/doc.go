// Package change says what is different between two measurements of one board,
// how uncertain that difference is, and whether it is real; and how readings
// move over many runs.
//
// A difference is less uncertain than its two readings where both owe part of
// their error to one and the same thing: that part cancels. Which source of a
// budget does so between two runs, of the same method throughout:
//
//	source in the budget                        same profile  other profile,   other
//	                                                          same interface   interface
//	noise recorded beside the signal            own           own              own
//	scatter of the noise itself                 own           own              own
//	events and echoes in the record             own           own              own
//	level not steady                            own           own              own
//	multimeter's accuracy, its last digit       cancels       own              own
//	known source's accuracy, noise beside it    cancels       own              own
//	noise when the bench was calibrated         cancels       own              own
//	repeatability of the loopback lead          cancels       own              own
//	delay of the loopback lead                  cancels       own              own
//	loading of the output in the loopback       cancels       own              own
//	what the bench itself adds, hiss, THD       cancels       own              own
//	what the bench itself adds, anything else   own           own              own
//	input's share of the bench's own response   cancels       cancels          own
//	gate of the loopback's response             cancels       cancels          own
//	clock of the interface                      cancels       cancels          own
//	gate of the impulse response                cancels       cancels          cancels
//	weighting curve, edge of the noise band     cancels       cancels          cancels
//	what is meant by a delay                    cancels       cancels          cancels
//	which of several is the extreme             own           own              own
//
// A bench's hum line adds to the board's at a phase that hangs on how the leads
// lie, so it is new each time. Its distortion adds at the phase that the board
// gives it, and so alike, as long as no control is touched: under one profile. A
// meter's error may well be the same at two calibrations, and the loading of the
// output too, but nothing says so. A source that is not in the table is own: what
// is not known cancels nothing. With another method nothing cancels. Where a
// source's share differs in the two budgets, the difference of the shares stays
// (JCGM 100:2008, 5.2.2, with a correlation of 1).
//
// Tones off the mains comb are not tested at all: an oscillator wanders in ways
// that no budget of one take holds. Nor is THD+N where its budget does not say
// what the bench's own hum, at another phase each time, does to it: without a
// profile, or where no hum was found beside the tone.
//
// In neither budget, and so not in the difference: how the board's own plugs
// seat each time, what temperature does to board and bench, and what the mains
// itself does to hum. What the check
// before use saw the bench move by is added, where both runs have one.
//
// In this room: differences, tests, trends, and words for what they look like.
// Not in this room: estimators (analysis), limits (verdict), and where runs come
// from.
package change
