// Package sheet makes the paper that goes with a board: the player's sheet
// and the bench copy as PDF and as HTML, and the label.
//
// A sheet is made from one kept run and from a few options, and from nothing
// else: the same run and options give the same file, byte for byte. Each file
// carries both and the run's digest, so that a copy can be checked by making
// it again.
//
// In this room: what a player is told, and where it stands on the page. Not in
// this room: how readings are made or judged, the plots' ink (report), and
// finding runs.
package sheet
