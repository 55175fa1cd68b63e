// Package wavfile reads and writes WAV files as measuring needs them: nothing
// is clamped, rescaled or repaired in silence.
//
// PCM of n bits is scaled so that ±1.0 is 2^(n-1); +1.0 itself has no code.
// Reading takes 16, 24 and 32-bit PCM and 32 and 64-bit float, plain or
// WAVE_FORMAT_EXTENSIBLE, any chunk order. Writing takes 32-bit float, 24-bit
// and 16-bit PCM. What made a signal travels in a RIFF chunk of its own,
// [SignalChunk], behind the samples.
//
// A data chunk whose length was never filled in (0xFFFFFFFF, as programs
// write into a pipe and recorders leave behind when their battery dies) is
// refused: nothing would show whether such a file is whole.
//
// In this room: bytes and samples. Not in this room: clocks, timing marks and
// an opinion about what the samples mean. Formats as in "Multimedia
// Programming Interface and Data Specifications 1.0" (1991) and its
// WAVE_FORMAT_EXTENSIBLE supplement.
package wavfile
