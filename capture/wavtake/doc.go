// Package wavtake is the capture.Instrument for what was recorded elsewhere:
// a signal exported as WAV, played by whatever was at hand, and recorded on
// any recorder into another WAV file.
//
// The signal may begin anywhere in the file. Record finds it by its timing
// marks, refuses the recording with a *capture.BadTake where it does not prove
// itself, estimates by how many parts per million the recorder's clock is off
// and by how many it drifts, and removes both by band-limited resampling, so
// that the take is as if player and recorder had shared a clock.
//
// In this room: finding, trimming and resampling. Not in this room: the file
// format (capture/wavfile) and how a take is judged (capture.Check).
package wavtake
