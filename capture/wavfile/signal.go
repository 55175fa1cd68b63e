package wavfile

import (
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"

	"boardproof/testsignals"
)

// SignalChunk is the four-character code of the chunk that holds the JSON of
// the testsignals.Spec that a file's samples were made from.
const SignalChunk = "bpsg"

// ErrNoSpec means that a file does not say which signal it holds.
var ErrNoSpec = errors.New("the file does not say which signal it holds: it was not written by boardproof signal")

// EncodeSpec returns the chunk that carries s.
func EncodeSpec(s testsignals.Spec) (Chunk, error) {
	b, err := json.Marshal(s)
	if err != nil {
		return Chunk{}, fmt.Errorf("writing the signal's parameters: %w", err)
	}
	return Chunk{ID: SignalChunk, Data: b}, nil
}

// DecodeSpec returns the valid Spec that chunks carry, or ErrNoSpec where
// none of them is a SignalChunk.
func DecodeSpec(chunks []Chunk) (testsignals.Spec, error) {
	for _, c := range chunks {
		if c.ID != SignalChunk {
			continue
		}
		var s testsignals.Spec
		if err := json.Unmarshal(c.Data, &s); err != nil {
			return testsignals.Spec{}, fmt.Errorf("reading the signal's parameters: %w", err)
		}
		if err := s.Validate(); err != nil {
			return testsignals.Spec{}, fmt.Errorf("reading the signal's parameters: %w", err)
		}
		return s, nil
	}
	return testsignals.Spec{}, ErrNoSpec
}

// FromSignal returns the one-channel file that exports sig: its samples, and
// its Spec in a SignalChunk. For PCM16 the samples are dithered, since without
// it the rounding error of a sweep is distortion that follows the sweep, just
// where its harmonics are looked for.
func FromSignal(sig *testsignals.Signal, e Encoding) (*Audio, error) {
	c, err := EncodeSpec(sig.Spec)
	if err != nil {
		return nil, err
	}
	samples := sig.Samples
	if e == PCM16 {
		samples = Dither(samples, 16)
	}
	return &Audio{RateHz: sig.RateHz, Encoding: e, Samples: [][]float64{samples}, Chunks: []Chunk{c}}, nil
}

// Dither returns x plus triangular noise of one step of n-bit PCM each way
// (TPDF), the least that makes the mean and the power of the rounding error
// independent of the signal: Lipshitz, Wannamaker & Vanderkooy, JAES 40(5),
// 1992. It is the same noise on every call, so that a file can be made again
// bit for bit.
func Dither(x []float64, bits int) []float64 {
	step := 2 / float64(uint64(1)<<bits)
	noise := rand.New(rand.NewPCG(1, 2))
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = v + step*(noise.Float64()-noise.Float64())
	}
	return y
}
