// Package db keeps boards, benches, profiles, plans and finished runs in one
// SQLite file, and the takes of those runs beside it.
//
// A run is written in one transaction when it ends and is never changed
// after: the store itself refuses to. What was wrong is corrected by a new
// run that names the old one. Profiles and versions of plans are kept the
// same way. A take is a WAV file named by its SHA-256 in the folder
// <store>.takes, on the disk before the row that names it.
//
// All SQL is in sql.go and migrations/. It is plain: numbered parameters in
// order, text, integers and reals, so that a store on a server needs other
// migrations and little else. Case is folded in this package, not by the
// database.
//
// Errors can be told apart with errors.Is and the Err values here; each is
// one line that says what to do.
//
// In this room: keeping and finding. Not in this room: measuring, judging,
// and what a command or a page shows.
package db
