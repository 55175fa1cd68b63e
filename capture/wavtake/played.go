package wavtake

import (
	"fmt"
	"math"

	"boardproof/capture/wavfile"
	"boardproof/testsignals"
)

// Played returns the signal that the WAV file at path holds, made again from
// the parameters that travel in it. A file whose samples are no longer those,
// because it was edited or turned up or down, is refused.
func Played(path string) (*testsignals.Signal, error) {
	audio, err := wavfile.ReadFile(path)
	if err != nil {
		return nil, err
	}
	sig, err := signalOf(audio)
	if err != nil {
		return nil, fmt.Errorf("reading the played signal from %s: %w", path, err)
	}
	return sig, nil
}

func signalOf(audio *wavfile.Audio) (*testsignals.Signal, error) {
	spec, err := wavfile.DecodeSpec(audio.Chunks)
	if err != nil {
		return nil, err
	}
	// Compared before anything is generated: an hour asked for by a broken file
	// would not fit into memory.
	if frames := testsignals.LayoutOf(spec).Frames; audio.RateHz != spec.RateHz || audio.Frames() != frames {
		return nil, fmt.Errorf("it holds %d frames at %d Hz, its parameters say %d at %d Hz: export the signal again", audio.Frames(), audio.RateHz, frames, spec.RateHz)
	}
	sig, err := testsignals.Generate(spec)
	if err != nil {
		return nil, err
	}
	// 16-bit PCM is dithered: half a step of rounding, one of dither.
	tolerance := 1e-7
	if audio.Encoding == wavfile.PCM16 {
		tolerance = 1.5/(1<<15) + 1e-12
	}
	for c, row := range audio.Samples {
		for i, v := range row {
			if math.Abs(v-sig.Samples[i]) > tolerance {
				return nil, fmt.Errorf("sample %d of channel %d is %g, its parameters say %g: it was edited; export the signal again", i, c+1, v, sig.Samples[i])
			}
		}
	}
	return sig, nil
}
