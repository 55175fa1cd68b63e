package wavfile

import (
	"bytes"
	"runtime"
	"testing"
)

// FuzzRead checks that no input panics, and that memory follows what the
// input holds and not what it claims.
func FuzzRead(f *testing.F) {
	for _, c := range bad() {
		f.Add(c.file)
	}
	good := encoded(f, &Audio{RateHz: 96000, Encoding: PCM24, Samples: [][]float64{{0.1, 0.2}, {0, -1}}, Chunks: []Chunk{{"note", []byte("odd")}}})
	f.Add(good)
	for at := 4; at < len(good); at += 4 {
		huge := bytes.Clone(good)
		copy(huge[at:], []byte{0xF0, 0xFF, 0xFF, 0x7F})
		f.Add(huge)
	}
	f.Fuzz(func(t *testing.T, file []byte) {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		a, err := Read(bytes.NewReader(file))
		runtime.ReadMemStats(&after)
		if used := after.TotalAlloc - before.TotalAlloc; used > 1<<18+64*uint64(len(file)) {
			t.Fatalf("%d bytes of input took %d bytes of memory", len(file), used)
		}
		if err == nil && (a.Frames() == 0 || len(a.Samples)*a.Frames() > len(file)) {
			t.Fatalf("%d channels of %d frames out of %d bytes", len(a.Samples), a.Frames(), len(file))
		}
	})
}
