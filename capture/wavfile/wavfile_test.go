package wavfile

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"boardproof/testsignals"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func encoded(t testing.TB, a *Audio) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, a); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// riff puts chunks of raw bytes into a RIFF frame; a negative length claims
// 0xFFFFFFFF.
func riff(chunks ...[]byte) []byte {
	body := bytes.Join(chunks, nil)
	out := binary.LittleEndian.AppendUint32([]byte("RIFF"), uint32(len(body)+4))
	return append(append(out, "WAVE"...), body...)
}

func chunk(id string, data []byte) []byte {
	out := binary.LittleEndian.AppendUint32([]byte(id), uint32(len(data)))
	out = append(out, data...)
	if len(data)%2 == 1 {
		out = append(out, 0)
	}
	return out
}

func fmtChunk(code, channels uint16, rate uint32, bits uint16) []byte {
	le := binary.LittleEndian
	align := channels * ((bits + 7) / 8)
	b := le.AppendUint16(nil, code)
	b = le.AppendUint16(b, channels)
	b = le.AppendUint32(b, rate)
	b = le.AppendUint32(b, rate*uint32(align))
	b = le.AppendUint16(b, align)
	return chunk("fmt ", le.AppendUint16(b, bits))
}

func extensible(code, channels uint16, rate uint32, bits, validBits uint16) []byte {
	le := binary.LittleEndian
	b := fmtChunk(formatExtensible, channels, rate, bits)[8:]
	b = le.AppendUint16(b, 22)
	b = le.AppendUint16(b, validBits)
	b = le.AppendUint32(b, 3)
	b = le.AppendUint16(b, code)
	return chunk("fmt ", append(b, guidTail...))
}

func TestRoundTripIsExactToTheCode(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := rapid.SampledFrom([]Encoding{PCM16, PCM24, Float32}).Draw(t, "encoding")
		channels := rapid.IntRange(1, 5).Draw(t, "channels")
		frames := rapid.IntRange(1, 40).Draw(t, "frames")
		a := &Audio{RateHz: rapid.IntRange(minRateHz, maxRateHz).Draw(t, "rate"), Encoding: e}
		for range channels {
			row := make([]float64, frames)
			for i := range row {
				if e == Float32 {
					row[i] = float64(rapid.Float32Range(-4, 4).Draw(t, "v"))
				} else {
					full := 1 << (8*e.bytes() - 1)
					row[i] = float64(rapid.IntRange(-full, full-1).Draw(t, "v")) / float64(full)
				}
			}
			a.Samples = append(a.Samples, row)
		}
		for range rapid.IntRange(0, 3).Draw(t, "chunks") {
			a.Chunks = append(a.Chunks, Chunk{ID: "test", Data: rapid.SliceOfN(rapid.Byte(), 1, 9).Draw(t, "data")})
		}
		var b bytes.Buffer
		if err := Write(&b, a); err != nil {
			t.Fatal(err)
		}
		if got := int(binary.LittleEndian.Uint32(b.Bytes()[4:])); got != b.Len()-8 {
			t.Fatalf("RIFF length %d in a file of %d bytes", got, b.Len())
		}
		got, err := Read(bytes.NewReader(b.Bytes()))
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(a, got); d != "" {
			t.Fatal(d)
		}
	})
}

func TestPCMRoundsToNearest(t *testing.T) {
	x := []float64{0, 0.4 / 32768, 0.6 / 32768, -0.6 / 32768, 32766.4 / 32768, -1 - 0.4/32768}
	a, err := Read(bytes.NewReader(encoded(t, &Audio{RateHz: 48000, Encoding: PCM16, Samples: [][]float64{x}})))
	if err != nil {
		t.Fatal(err)
	}
	want := []float64{0, 0, 1.0 / 32768, -1.0 / 32768, 32766.0 / 32768, -1}
	if d := cmp.Diff(want, a.Samples[0]); d != "" {
		t.Fatal(d)
	}
}

func TestWriteRefusesWhatHasNoCode(t *testing.T) {
	for name, c := range map[string]struct {
		e Encoding
		v float64
	}{
		"+1.0 as 16 bit":   {PCM16, 1},
		"+1.0 as 24 bit":   {PCM24, 1},
		"below -1":         {PCM16, -1.0001},
		"not a number":     {Float32, math.NaN()},
		"infinite":         {Float32, math.Inf(-1)},
		"not a number PCM": {PCM24, math.NaN()},
	} {
		var b bytes.Buffer
		err := Write(&b, &Audio{RateHz: 48000, Encoding: c.e, Samples: [][]float64{{0, c.v}}})
		if err == nil || !strings.Contains(err.Error(), "sample 1 of channel 1") {
			t.Errorf("%s: error %v does not name the sample", name, err)
		}
		if b.Len() != 0 {
			t.Errorf("%s: %d bytes were written all the same", name, b.Len())
		}
	}
}

func TestReadsEveryFormat(t *testing.T) {
	le := binary.LittleEndian
	half64 := le.AppendUint64(nil, math.Float64bits(0.5))
	half32 := le.AppendUint32(nil, math.Float32bits(0.5))
	cases := map[string][]byte{
		"16 bit":                  riff(fmtChunk(1, 1, 48000, 16), chunk("data", []byte{0, 0x40})),
		"24 bit, pad":             riff(fmtChunk(1, 1, 48000, 24), chunk("data", []byte{0, 0, 0x40})),
		"24 bit, no pad at end":   riff(fmtChunk(1, 1, 48000, 24), chunk("data", []byte{0, 0, 0x40})[:11]),
		"32 bit":                  riff(fmtChunk(1, 1, 48000, 32), chunk("data", []byte{0, 0, 0, 0x40})),
		"float32":                 riff(fmtChunk(3, 1, 48000, 32), chunk("data", half32)),
		"float64":                 riff(fmtChunk(3, 1, 48000, 64), chunk("data", half64)),
		"extensible 24 bit":       riff(extensible(1, 1, 48000, 24, 24), chunk("data", []byte{0, 0, 0x40})),
		"extensible 24 in 32":     riff(extensible(1, 1, 48000, 32, 24), chunk("data", []byte{0, 0, 0, 0x40})),
		"extensible float":        riff(extensible(3, 1, 48000, 32, 32), chunk("data", half32)),
		"data before format":      riff(chunk("data", []byte{0, 0x40}), fmtChunk(1, 1, 48000, 16)),
		"odd unknown chunk":       riff(chunk("junk", []byte{1, 2, 3}), fmtChunk(1, 1, 48000, 16), chunk("data", []byte{0, 0x40})),
		"RIFF length not kept up": append(append([]byte("RIFF\x00\x00\x00\x00WAVE"), fmtChunk(1, 1, 48000, 16)...), chunk("data", []byte{0, 0x40})...),
		"tag behind the end":      append(riff(fmtChunk(1, 1, 48000, 16), chunk("data", []byte{0, 0x40})), "TAG of another kind that is no chunk"...),
	}
	for name, b := range cases {
		a, err := Read(bytes.NewReader(b))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if d := cmp.Diff([][]float64{{0.5}}, a.Samples); d != "" || a.RateHz != 48000 {
			t.Errorf("%s: rate %d, %s", name, a.RateHz, d)
		}
	}
}

// bad holds a file for each refusal and a part of its message.
func bad() map[string]struct {
	file []byte
	want string
} {
	data := chunk("data", []byte{0, 0x40, 0, 0})
	pcm := fmtChunk(1, 1, 48000, 16)
	whole := riff(pcm, data)
	unknown := append([]byte{}, whole...)
	copy(unknown[12+len(pcm)+4:], []byte{255, 255, 255, 255})
	type c = struct {
		file []byte
		want string
	}
	return map[string]c{
		"empty":                {nil, "not a WAV file: only 0 bytes"},
		"text":                 {[]byte("this is not audio at all"), "not a WAV file"},
		"big-endian":           {append([]byte("RIFX"), whole[4:]...), "not a WAV file"},
		"RF64":                 {append([]byte("RF64"), whole[4:]...), "more than 4 GB"},
		"cut in the data":      {whole[:len(whole)-2], "cut short: its \"data\" chunk should hold 4 bytes and holds 2"},
		"cut before the data":  {whole[:12+len(pcm)], "no data chunk"},
		"cut in the format":    {whole[:30], "cut short: its \"fmt \""},
		"no format":            {riff(data), "no format chunk"},
		"half a frame":         {riff(fmtChunk(1, 2, 48000, 16), chunk("data", []byte{1, 2, 3, 4, 5, 6})), "whole number of frames"},
		"length never written": {unknown, "never filled in"},
		"no samples":           {riff(pcm, chunk("data", nil)), "holds no samples"},
		"no channels":          {riff(fmtChunk(1, 0, 48000, 16), data), "0 channels"},
		"too many channels":    {riff(fmtChunk(1, 20000, 48000, 16), data), "20000 channels"},
		"rate 0":               {riff(fmtChunk(1, 1, 0, 16), data), "rate is 0 Hz"},
		"absurd rate":          {riff(fmtChunk(1, 1, 4e9, 16), data), "rate is 4000000000 Hz"},
		"8 bit":                {riff(fmtChunk(1, 1, 48000, 8), data), "8 bits are not supported"},
		"compressed":           {riff(fmtChunk(0x55, 1, 48000, 16), data), "compressed (format 0x0055)"},
		"foreign GUID":         {riff(append(extensible(1, 1, 48000, 16, 16)[:47], 9), data), "extensible format"},
		"odd frame length":     {riff(append(pcm[:20:20], 3, 0, 16, 0), data), "3 bytes long"},
		"two data chunks":      {riff(pcm, data, data), "two data chunks"},
		"two formats":          {riff(pcm, pcm, data), "two format chunks"},
		"not a number":         {riff(fmtChunk(3, 1, 48000, 32), chunk("data", []byte{0, 0, 0xC0, 0x7F})), "NaN times full scale"},
		"not scaled to 1":      {riff(fmtChunk(3, 1, 48000, 32), chunk("data", binary.LittleEndian.AppendUint32(nil, math.Float32bits(30000)))), "30000 times full scale"},
	}
}

func TestRefusesWithOneClearLine(t *testing.T) {
	for name, c := range bad() {
		a, err := Read(bytes.NewReader(c.file))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want %q", name, err, c.want)
			continue
		}
		if a != nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: not one line, or samples all the same", name)
		}
	}
}

func TestReadPassesOnTheReadersError(t *testing.T) {
	boom := errors.New("disk on fire")
	whole := encoded(t, &Audio{RateHz: 48000, Encoding: PCM16, Samples: [][]float64{make([]float64, 100)}})
	for n := range len(whole) {
		_, err := Read(&failing{Reader: bytes.NewReader(whole), after: n, err: boom})
		if !errors.Is(err, boom) {
			t.Fatalf("after %d bytes: %v", n, err)
		}
	}
}

// failing fails on each read past after bytes.
type failing struct {
	*bytes.Reader
	after int
	err   error
}

func (f *failing) Read(p []byte) (int, error) {
	at := int(f.Size()) - f.Len()
	if at >= f.after {
		return 0, f.err
	}
	return f.Reader.Read(p[:min(len(p), f.after-at)])
}

func TestSpecTravelsInTheFile(t *testing.T) {
	want := testsignals.New(testsignals.Sweep, 48000, -12, 0.7)
	sig, err := testsignals.Generate(want)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range []Encoding{Float32, PCM24, PCM16} {
		a, err := FromSignal(sig, e)
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(t.TempDir(), "s.wav")
		if err := WriteFile(path, a); err != nil {
			t.Fatal(err)
		}
		back, err := ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		got, err := DecodeSpec(back.Chunks)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Error(d)
		}
	}
	if _, err := DecodeSpec(nil); !errors.Is(err, ErrNoSpec) {
		t.Errorf("no chunk: %v", err)
	}
	for _, broken := range []string{"{", `{"format":"else/9"}`} {
		_, err := DecodeSpec([]Chunk{{SignalChunk, []byte(broken)}})
		if err == nil || errors.Is(err, ErrNoSpec) {
			t.Errorf("chunk %s: %v", broken, err)
		}
	}
}

func TestWriteFileLeavesNothingBehindWhenItFails(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "out.wav")
	err := WriteFile(path, &Audio{RateHz: 48000, Encoding: PCM16, Samples: [][]float64{{2}}})
	if err == nil {
		t.Fatal("a sample of 2 was written as 16 bit")
	}
	left, err := os.ReadDir(dir)
	if err != nil || len(left) != 0 {
		t.Fatalf("left behind: %v, %v", left, err)
	}
}

// TPDF dither of one step each way and rounding leave an error of mean 0 and
// power step²/4, whatever the signal: Lipshitz, Wannamaker & Vanderkooy, JAES
// 40(5), 1992 (from memory: step²/12 of rounding and step²/6 of dither).
func TestDitherMakesTheErrorIndependentOfTheSignal(t *testing.T) {
	const n, step = 200000, 1.0 / 32768
	for _, level := range []float64{0, 0.25 * step, 0.5 * step, 100.3 * step} {
		x := make([]float64, n)
		for i := range x {
			x[i] = level
		}
		mean, power := 0.0, 0.0
		for _, v := range Dither(x, 16) {
			e := math.RoundToEven(v/step)*step - level
			mean += e / n
			power += e * e / n
		}
		// Six standard errors of n draws.
		if math.Abs(mean) > 6*0.5*step/math.Sqrt(n) {
			t.Errorf("level %g steps: mean error %g steps", level/step, mean/step)
		}
		if math.Abs(power/(step*step/4)-1) > 6*1.3/math.Sqrt(n) {
			t.Errorf("level %g steps: power %g, want 0.25 steps²", level/step, power/step/step)
		}
	}
}
