package wavtake

import (
	"fmt"
	"io"
	"math"

	"boardproof/capture/wavfile"
	"boardproof/testsignals"
)

// Played returns the signal that the WAV file at path holds, made again from
// the parameters that travel in it. A file whose samples are no longer those,
// because it was edited or turned up or down, is refused.
func Played(path string) (*testsignals.Signal, error) {
	f, err := wavfile.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	sig, err := signalOf(f)
	if err != nil {
		return nil, fmt.Errorf("reading the played signal from %s: %w", path, err)
	}
	return sig, nil
}

func signalOf(file io.ReadSeeker) (*testsignals.Signal, error) {
	h, err := wavfile.ReadHeader(file)
	if err != nil {
		return nil, err
	}
	spec, err := wavfile.DecodeSpec(h.Chunks)
	if err != nil {
		return nil, err
	}
	// Compared before anything is generated: an hour asked for by a broken file
	// would not fit into memory.
	if frames := testsignals.LayoutOf(spec).Frames; h.RateHz != spec.RateHz || h.Frames != frames {
		return nil, fmt.Errorf("it holds %d frames at %d Hz, its parameters say %d at %d Hz: export the signal again", h.Frames, h.RateHz, frames, spec.RateHz)
	}
	if err := checkLength(h, h.Channels); err != nil {
		return nil, err
	}
	sig, err := testsignals.Generate(spec)
	if err != nil {
		return nil, err
	}
	if err := unedited(h, file, sig); err != nil {
		return nil, err
	}
	return sig, nil
}

// unedited says where the samples of a file are not those of sig, which they
// were made from.
func unedited(h *wavfile.Header, file io.ReadSeeker, sig *testsignals.Signal) error {
	// 16-bit PCM is dithered: half a step of rounding, one of dither.
	tolerance := 1e-7
	if h.Encoding == wavfile.PCM16 {
		tolerance = 1.5/(1<<15) + 1e-12
	}
	for c := 1; c <= h.Channels; c++ {
		rows, err := h.Samples(file, []int{c})
		if err != nil {
			return err
		}
		for i, v := range rows[0] {
			if math.Abs(v-sig.Samples[i]) > tolerance {
				return fmt.Errorf("sample %d of channel %d is %g, its parameters say %g: it was edited; export the signal again", i, c, v, sig.Samples[i])
			}
		}
	}
	return nil
}
