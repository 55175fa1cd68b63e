package wavfile

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
)

// Write writes a as a WAV file in a.Encoding, which must be PCM16, PCM24 or
// Float32. PCM is rounded to nearest, without dither. A sample that has no
// code, +1.0 included, is refused and never clamped; so is one that is not a
// number. Nothing is written unless all of a can be.
func Write(w io.Writer, a *Audio) error {
	if err := check(a); err != nil {
		return err
	}
	b := bufio.NewWriterSize(w, 1<<16)
	putHeader(b, a)
	putSamples(b, a)
	for _, c := range a.Chunks {
		putChunk(b, c.ID, c.Data)
	}
	return b.Flush()
}

func check(a *Audio) error {
	if a.Encoding != PCM16 && a.Encoding != PCM24 && a.Encoding != Float32 {
		return fmt.Errorf("samples can be written as %s, %s or %s, not as %q", Float32, PCM24, PCM16, a.Encoding)
	}
	if n := len(a.Samples); n < 1 || n > maxChannels {
		return fmt.Errorf("a WAV file holds 1 to %d channels, not %d", maxChannels, n)
	}
	if a.RateHz < minRateHz || a.RateHz > maxRateHz {
		return fmt.Errorf("rate %d Hz is outside %d to %d Hz", a.RateHz, minRateHz, maxRateHz)
	}
	if a.Frames() == 0 {
		return errors.New("there are no samples to write")
	}
	for c, row := range a.Samples {
		if len(row) != a.Frames() {
			return fmt.Errorf("channel %d has %d frames and channel 1 has %d", c+1, len(row), a.Frames())
		}
		if err := checkRow(row, c+1, a.Encoding); err != nil {
			return err
		}
	}
	for _, c := range a.Chunks {
		if len(c.ID) != 4 || len(c.Data) > maxChunkBytes {
			return fmt.Errorf("chunk %q of %d bytes cannot be written: a name has 4 letters, a chunk at most %d bytes", c.ID, len(c.Data), maxChunkBytes)
		}
	}
	if size(a) > math.MaxUint32-8 {
		return errors.New("more than 4 GB does not fit into a WAV file: record less at a time")
	}
	return nil
}

func checkRow(row []float64, channel int, e Encoding) error {
	lo, hi := -float64(maxSample), float64(maxSample)
	if !e.isFloat() {
		scale := pcmScale(e)
		lo, hi = -1, (scale-1)/scale
	}
	for i, v := range row {
		if !e.isFloat() {
			v = math.RoundToEven(v*pcmScale(e)) / pcmScale(e)
		}
		if !(v >= lo && v <= hi) {
			return fmt.Errorf("sample %d of channel %d is %g, %s holds %g to %g: lower the level or write %s", i, channel, row[i], e, lo, hi, Float32)
		}
	}
	return nil
}

func pcmScale(e Encoding) float64 { return math.Ldexp(1, 8*e.bytes()-1) }

// size returns the length of the file after its first 8 bytes.
func size(a *Audio) int64 {
	n := int64(4 + 8 + 16 + 8)
	if a.Encoding.isFloat() {
		n += 2 + 8 + 4 // the extension's length, and the fact chunk
	}
	n += padded(dataBytes(a))
	for _, c := range a.Chunks {
		n += 8 + padded(int64(len(c.Data)))
	}
	return n
}

func dataBytes(a *Audio) int64 {
	return int64(a.Frames()) * int64(len(a.Samples)) * int64(a.Encoding.bytes())
}

func padded(n int64) int64 { return n + n%2 }

// The put functions need no errors of their own: a bufio.Writer keeps the
// first one for Flush.

func putHeader(b *bufio.Writer, a *Audio) {
	le := binary.LittleEndian
	b.WriteString("RIFF")
	b.Write(le.AppendUint32(nil, uint32(size(a))))
	b.WriteString("WAVE")
	align := len(a.Samples) * a.Encoding.bytes()
	code := uint16(formatPCM)
	if a.Encoding.isFloat() {
		code = formatFloat
	}
	f := le.AppendUint16(nil, code)
	f = le.AppendUint16(f, uint16(len(a.Samples)))
	f = le.AppendUint32(f, uint32(a.RateHz))
	f = le.AppendUint32(f, uint32(a.RateHz*align))
	f = le.AppendUint16(f, uint16(align))
	f = le.AppendUint16(f, uint16(8*a.Encoding.bytes()))
	if a.Encoding.isFloat() {
		f = le.AppendUint16(f, 0)
	}
	putChunk(b, "fmt ", f)
	if a.Encoding.isFloat() {
		putChunk(b, "fact", le.AppendUint32(nil, uint32(a.Frames())))
	}
}

func putSamples(b *bufio.Writer, a *Audio) {
	le := binary.LittleEndian
	b.WriteString("data")
	b.Write(le.AppendUint32(nil, uint32(dataBytes(a))))
	code := make([]byte, 0, 8)
	for i := range a.Frames() {
		for _, row := range a.Samples {
			switch a.Encoding {
			case Float32:
				code = le.AppendUint32(code[:0], math.Float32bits(float32(row[i])))
			default:
				v := int32(math.RoundToEven(row[i] * pcmScale(a.Encoding)))
				code = le.AppendUint32(code[:0], uint32(v))[:a.Encoding.bytes()]
			}
			b.Write(code)
		}
	}
	if dataBytes(a)%2 == 1 {
		b.WriteByte(0)
	}
}

func putChunk(b *bufio.Writer, id string, data []byte) {
	b.WriteString(id)
	b.Write(binary.LittleEndian.AppendUint32(nil, uint32(len(data))))
	b.Write(data)
	if len(data)%2 == 1 {
		b.WriteByte(0)
	}
}
