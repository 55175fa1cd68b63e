// Package capture plays a signal through a board and records what comes back,
// sample-locked, as a [Take].
//
// An [Instrument] is anything that can do that: capture/soundcard (an audio
// interface by way of PortAudio), capture/simboard (a simulated board on a
// simulated interface) and capture/wavtake (a recording made elsewhere).
// [Check] decides whether a take proves itself: timing marks as far apart as
// they were played, nothing clipped, nothing stuck, enough level.
//
// In this room: samples and how they got here. Not in this room: an opinion
// about what the samples mean, and volts.
package capture
