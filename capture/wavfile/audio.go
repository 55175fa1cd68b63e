package wavfile

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// Encoding is how samples are stored in a file.
type Encoding string

// The encodings that are known. PCM32 and Float64 are read only.
const (
	PCM16   Encoding = "pcm16"
	PCM24   Encoding = "pcm24"
	PCM32   Encoding = "pcm32"
	Float32 Encoding = "float32"
	Float64 Encoding = "float64"
)

func (e Encoding) bytes() int {
	switch e {
	case PCM16:
		return 2
	case PCM24:
		return 3
	case PCM32, Float32:
		return 4
	case Float64:
		return 8
	}
	return 0
}

func (e Encoding) isFloat() bool { return e == Float32 || e == Float64 }

// Chunk is a RIFF chunk other than the format, the fact and the samples.
type Chunk struct {
	// ID is the four-character code.
	ID   string
	Data []byte
}

// Audio is what a file holds.
type Audio struct {
	RateHz   int
	Encoding Encoding
	// Samples are [channel][frame], full scale ±1. Float files may go beyond.
	Samples [][]float64
	// Chunks are the others, in the file's order.
	Chunks []Chunk
}

// Frames returns the number of frames.
func (a *Audio) Frames() int {
	if len(a.Samples) == 0 {
		return 0
	}
	return len(a.Samples[0])
}

// Bounds on what is believed of a file.
const (
	minRateHz   = 8000
	maxRateHz   = 768000
	maxChannels = 256
	// maxSample is the largest float sample that can still be audio scaled
	// to ±1, +60 dBFS.
	maxSample = 1000
	// maxChunkBytes is how much of foreign chunks is kept, all together.
	maxChunkBytes = 1 << 20
	// maxChunks is far above what any recorder writes, and far below what
	// would take long to walk.
	maxChunks = 10_000
)

// Open opens the file at path for reading. A pipe or a device, which may never
// give or never end, is refused.
func Open(path string) (*os.File, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("reading a recording: %w", err)
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("reading a recording: %s is a folder, a pipe or a device: save the recording as a file", path)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("reading a recording: %w", err)
	}
	return f, nil
}

// ReadFile reads the WAV file at path.
func ReadFile(path string) (*Audio, error) {
	f, err := Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	a, err := Read(f)
	if err != nil {
		return nil, fmt.Errorf("reading %s: %w", path, err)
	}
	return a, nil
}

// WriteFile writes a to path, synced. The file appears whole or not at all;
// one that was there is replaced.
func WriteFile(path string, a *Audio) (err error) {
	tmp, err := os.CreateTemp(filepath.Dir(path), ".wav-*")
	if err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(fmt.Errorf("writing %s: %w", path, err), os.Remove(tmp.Name()))
		}
	}()
	err = Write(tmp, a)
	if err == nil {
		err = tmp.Sync()
	}
	if closeErr := tmp.Close(); err == nil {
		err = closeErr
	}
	if err == nil {
		err = os.Chmod(tmp.Name(), 0o644)
	}
	if err == nil {
		err = os.Rename(tmp.Name(), path)
	}
	return err
}
