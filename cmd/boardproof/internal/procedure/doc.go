// Package procedure is the order of things at the bench: calibrating it,
// accepting a board, taking one measurement. Command line and page both go
// through it.
//
// In this room: what is asked of the operator and when, what is played, how
// often a bad take is tried again, and which estimator reads which take. Not
// in this room: arithmetic on samples (analysis), keeping (db), and how a
// question or a result looks (the command line, the page).
package procedure
