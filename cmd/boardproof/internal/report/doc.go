// Package report renders results for people and for other programs: the table
// of readings, the plots (SVG and PNG) and the JSON document.
//
// In this room: words, digits and ink. Readings, curves, limits and verdicts
// come in finished. Not in this room: arithmetic on samples, how a reading was
// made or judged, and where results are kept.
package report
