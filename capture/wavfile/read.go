package wavfile

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
)

// Format codes of the fmt chunk.
const (
	formatPCM        = 1
	formatFloat      = 3
	formatExtensible = 0xFFFE
)

// The bytes of an extensible format's GUID that follow its format code, the
// same for every code of the old list.
var guidTail = []byte{0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71}

// unknownLength stands where a program could not go back to fill in a length.
const unknownLength = math.MaxUint32

// format is what a fmt chunk says.
type format struct {
	encoding Encoding
	channels int
	rateHz   int
}

// Header is what a file holds but for its samples.
type Header struct {
	RateHz   int
	Encoding Encoding
	Channels int
	Frames   int
	// Chunks are the others, in the file's order.
	Chunks []Chunk

	dataAt int64
}

// Read reads a whole WAV file. Each error is one line that says what is wrong
// and what to do next.
func Read(r io.ReadSeeker) (*Audio, error) {
	h, err := ReadHeader(r)
	if err != nil {
		return nil, err
	}
	all := make([]int, h.Channels)
	for c := range all {
		all[c] = c + 1
	}
	samples, err := h.Samples(r, all)
	if err != nil {
		return nil, err
	}
	return &Audio{RateHz: h.RateHz, Encoding: h.Encoding, Samples: samples, Chunks: h.Chunks}, nil
}

// ReadHeader reads all of a WAV file but its samples, which it only sees are
// there. Its errors are as those of Read.
func ReadHeader(r io.ReadSeeker) (*Header, error) {
	size, err := r.Seek(0, io.SeekEnd)
	if err != nil {
		return nil, err
	}
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	head := make([]byte, 12)
	if n, err := io.ReadFull(r, head); err != nil {
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			return nil, fmt.Errorf("not a WAV file: only %d bytes long", n)
		}
		return nil, err
	}
	if err := checkMagic(head); err != nil {
		return nil, err
	}
	p := parser{r: r, size: size, at: 12, end: 8 + int64(binary.LittleEndian.Uint32(head[4:]))}
	if err := p.chunks(); err != nil {
		return nil, err
	}
	return p.header()
}

// blockFrames is how many frames are decoded at a time.
const blockFrames = 4096

// Samples reads channels, counted from 1 and at most h.Channels, from the file
// that h was read from. Memory is that of the result: 8 bytes a sample.
func (h *Header) Samples(r io.ReadSeeker, channels []int) ([][]float64, error) {
	if _, err := r.Seek(h.dataAt, io.SeekStart); err != nil {
		return nil, err
	}
	rows := make([][]float64, len(channels))
	for i := range rows {
		rows[i] = make([]float64, 0, h.Frames)
	}
	width := h.Encoding.bytes()
	frame := h.Channels * width
	value, block := decoder(h.Encoding), make([]byte, min(blockFrames, h.Frames)*frame)
	for at := 0; at < h.Frames; at += blockFrames {
		block = block[:min(blockFrames, h.Frames-at)*frame]
		if _, err := io.ReadFull(r, block); err != nil {
			return nil, fmt.Errorf("reading samples from frame %d on: %w", at, err)
		}
		for i, c := range channels {
			for from := (c - 1) * width; from < len(block); from += frame {
				v := value(block[from:])
				if !(math.Abs(v) <= maxSample) {
					return nil, fmt.Errorf("sample %d of channel %d is %g times full scale, which is no recording: save it scaled to ±1", at+from/frame, c, v)
				}
				rows[i] = append(rows[i], v)
			}
		}
	}
	return rows, nil
}

func checkMagic(head []byte) error {
	magic, form := string(head[:4]), string(head[8:])
	switch {
	case magic == "RF64" || magic == "BW64":
		return fmt.Errorf("%s file of more than 4 GB is not supported: save it as plain WAV", magic)
	case magic != "RIFF" || form != "WAVE":
		return errors.New("not a WAV file: it does not start with RIFF and WAVE; save the recording as WAV")
	}
	return nil
}

// parser walks the chunks.
type parser struct {
	r io.ReadSeeker
	// File offsets: where the file ends, of r, and where RIFF says the file ends.
	size, at, end int64
	format        *format
	// dataAt is the offset of the samples, dataBytes their length, once hasData.
	dataAt, dataBytes int64
	hasData           bool
	kept              []Chunk
	seen, keptBytes   int
}

func (p *parser) chunks() error {
	for {
		if p.format != nil && p.hasData && p.at >= p.end {
			return nil
		}
		head := make([]byte, 8)
		_, err := io.ReadFull(p.r, head)
		// A few stray bytes at the end are a recorder's padding.
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if p.seen++; p.seen > maxChunks {
			return fmt.Errorf("the file has more than %d chunks, which no recorder writes: save the recording again", maxChunks)
		}
		p.at += 8
		id, size := string(head[:4]), int64(binary.LittleEndian.Uint32(head[4:]))
		if err := p.chunk(id, size); err != nil {
			return err
		}
		// The pad byte after the last chunk is often missing.
		if size%2 == 1 && p.at < p.size {
			if err := p.skip(id, 1); err != nil {
				return err
			}
		}
	}
}

func (p *parser) chunk(id string, size int64) error {
	switch id {
	case "fmt ":
		if p.format != nil {
			return errors.New("the file has two format chunks: save the recording again")
		}
		b, err := p.body(id, size)
		if err != nil {
			return err
		}
		p.format, err = parseFormat(b)
		return err
	case "data":
		if p.hasData {
			return errors.New("the file has two data chunks: save the recording again as one piece")
		}
		if size == unknownLength {
			return errors.New("the length of the samples was never filled in: the recorder did not close the file; open it in an editor and save it as WAV")
		}
		p.dataAt, p.dataBytes, p.hasData = p.at, size, true
		return p.skip(id, size)
	}
	if size > maxChunkBytes-int64(p.keptBytes) || id == "fact" {
		return p.skip(id, size)
	}
	b, err := p.body(id, size)
	p.keptBytes += len(b)
	p.kept = append(p.kept, Chunk{ID: id, Data: b})
	return err
}

// skip passes over size bytes of chunk id, which must be there.
func (p *parser) skip(id string, size int64) error {
	if left := p.size - p.at; left < size {
		return cutShort(id, size, left)
	}
	p.at += size
	_, err := p.r.Seek(p.at, io.SeekStart)
	return err
}

func (p *parser) body(id string, size int64) ([]byte, error) {
	if left := p.size - p.at; left < size || size > maxChunkBytes {
		return nil, cutShort(id, size, min(left, maxChunkBytes))
	}
	b := make([]byte, size)
	_, err := io.ReadFull(p.r, b)
	p.at += size
	return b, err
}

func cutShort(id string, want, got int64) error {
	return fmt.Errorf("file is cut short: its %q chunk should hold %d bytes and holds %d; copy it again", id, want, got)
}

func parseFormat(b []byte) (*format, error) {
	if len(b) < 16 {
		return nil, fmt.Errorf("the format chunk is %d bytes long, at least 16 are needed: save the recording again as WAV", len(b))
	}
	le := binary.LittleEndian
	code := le.Uint16(b)
	f := &format{channels: int(le.Uint16(b[2:])), rateHz: int(le.Uint32(b[4:]))}
	align, bits := int(le.Uint16(b[12:])), int(le.Uint16(b[14:]))
	if code == formatExtensible {
		if len(b) < 40 || !bytes.Equal(b[26:40], guidTail) {
			return nil, errors.New("the extensible format is not one that is known: save the recording as PCM or float WAV")
		}
		code = le.Uint16(b[24:])
	}
	if f.channels < 1 || f.channels > maxChannels {
		return nil, fmt.Errorf("the file says it has %d channels, 1 to %d are possible: save the recording again", f.channels, maxChannels)
	}
	if f.rateHz < minRateHz || f.rateHz > maxRateHz {
		return nil, fmt.Errorf("the file says its rate is %d Hz, %d to %d Hz are possible: save the recording again", f.rateHz, minRateHz, maxRateHz)
	}
	var err error
	f.encoding, err = encodingOf(code, bits)
	if err != nil {
		return nil, err
	}
	if align != f.channels*f.encoding.bytes() {
		return nil, fmt.Errorf("the file says a frame of %d channels of %d bits is %d bytes long: save the recording again", f.channels, bits, align)
	}
	return f, nil
}

func encodingOf(code uint16, bits int) (Encoding, error) {
	switch {
	case code == formatFloat && bits == 32:
		return Float32, nil
	case code == formatFloat && bits == 64:
		return Float64, nil
	case code == formatPCM && bits > 8 && bits <= 16:
		return PCM16, nil
	case code == formatPCM && bits > 16 && bits <= 24:
		return PCM24, nil
	case code == formatPCM && bits > 24 && bits <= 32:
		return PCM32, nil
	case code == formatPCM || code == formatFloat:
		return "", fmt.Errorf("samples of %d bits are not supported: save the recording as 24-bit PCM or 32-bit float", bits)
	}
	return "", fmt.Errorf("samples are compressed (format %#04x): save the recording as 24-bit PCM or 32-bit float", code)
}

func (p *parser) header() (*Header, error) {
	switch {
	case p.format == nil:
		return nil, errors.New("file is cut short or not WAV: it has no format chunk; save the recording again as WAV")
	case !p.hasData:
		return nil, errors.New("file is cut short: it has no data chunk; copy it again")
	case p.dataBytes == 0:
		return nil, errors.New("the file holds no samples: the recorder did not close it or recorded nothing; record again")
	}
	f := p.format
	frame := int64(f.channels * f.encoding.bytes())
	if p.dataBytes%frame != 0 {
		return nil, fmt.Errorf("file is cut short: %d bytes of samples are not a whole number of frames; copy it again", p.dataBytes)
	}
	return &Header{RateHz: f.rateHz, Encoding: f.encoding, Channels: f.channels, Frames: int(p.dataBytes / frame), Chunks: p.kept, dataAt: p.dataAt}, nil
}

func decoder(e Encoding) func([]byte) float64 {
	le := binary.LittleEndian
	switch e {
	case PCM16:
		return func(b []byte) float64 { return float64(int16(le.Uint16(b))) / (1 << 15) }
	case PCM24:
		return func(b []byte) float64 {
			return float64(int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24)>>8) / (1 << 23)
		}
	case PCM32:
		return func(b []byte) float64 { return float64(int32(le.Uint32(b))) / (1 << 31) }
	case Float32:
		return func(b []byte) float64 { return float64(math.Float32frombits(le.Uint32(b))) }
	default:
		return func(b []byte) float64 { return math.Float64frombits(le.Uint64(b)) }
	}
}
