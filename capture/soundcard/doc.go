// Package soundcard plays and records through an audio interface, by way of
// PortAudio and whatever audio systems it was built with (ALSA, JACK, Core
// Audio, WASAPI, ASIO and so on).
//
// Both directions run in one stream, so what is played and what is recorded
// share one clock and one frame count. Blocks are as long as the host likes.
// The audio callback only copies between buffers that were made beforehand;
// it neither allocates nor locks.
//
// In this room: devices, streams and the words for what goes wrong with
// them. Not in this room: whether a take is good (capture.Check), and volts.
package soundcard
