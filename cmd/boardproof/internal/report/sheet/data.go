package sheet

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"runtime"
	"runtime/debug"
	"strings"
	"sync"

	"boardproof/analysis/verdict"
	"boardproof/cmd/boardproof/internal/report"
)

// Format is the version of what a sheet carries. Later ones add keys to it.
const Format = "boardproof-sheet/1"

// Carried is what a file says of itself to a program.
type Carried struct {
	Format string `json:"format"`
	// Maker is the version of the program that wrote the file.
	Maker   string          `json:"maker"`
	Run     string          `json:"run"`
	Digest  string          `json:"digest"`
	Verdict verdict.Outcome `json:"verdict"`
	Options Options         `json:"options"`
	Figures []Carry         `json:"figures"`
	// Seal is the SHA-256 of the whole file with zeros in its place.
	Seal string `json:"seal"`
}

// Carry is one reading as the sheet's run has it.
type Carry struct {
	What    string          `json:"what"`
	State   string          `json:"state,omitempty"`
	Step    string          `json:"step,omitempty"`
	Value   string          `json:"value"`
	Limit   string          `json:"limit"`
	Verdict verdict.Outcome `json:"verdict,omitempty"`
}

var noSeal = strings.Repeat("0", 2*sha256.Size)

// The marks around what is carried, in PDF and in HTML.
const (
	xmpBegin, xmpEnd   = "<bp:sheet>", "</bp:sheet>"
	htmlBegin, htmlEnd = `<script type="application/json" id="boardproof-sheet">`, "</script>"
)

// carried is what a sheet of s says of itself, not yet sealed. Only what was
// judged is told figure by figure: the rest is in the digest.
func carried(s Source, o Options, maker string) Carried {
	c := Carried{Format: Format, Maker: maker, Run: s.Run.ID, Digest: s.Digest, Verdict: s.Run.Verdict, Options: o, Seal: noSeal}
	for _, j := range s.Run.Readings {
		if j.Verdict == "" {
			continue
		}
		f := report.FigureOf(j)
		c.Figures = append(c.Figures, Carry{report.What(j.Reading), j.State, j.Step, f.Value, f.Limit, j.Verdict})
	}
	return c
}

// maker names this very program. It is told from the file it runs from: what a
// change of a library or compiler does to a sheet is not to be foreseen, and an
// honest sheet is not to be called altered for it.
var maker = sync.OnceValue(func() string {
	name := "boardproof, " + runtime.Version() + " " + runtime.GOARCH
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, set := range info.Settings {
			if set.Key == "vcs.revision" {
				name += ", revision " + set.Value[:min(12, len(set.Value))]
			}
		}
	}
	path, err := os.Executable()
	if err != nil {
		return name
	}
	program, err := os.ReadFile(path)
	if err != nil {
		return name
	}
	sum := sha256.Sum256(program)
	return name + ", build " + short(hex.EncodeToString(sum[:]))
})

// xmp wraps what a PDF carries as its metadata, where it stays readable.
func xmp(data []byte) []byte {
	return []byte("<?xpacket begin=\"\ufeff\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>\n" +
		`<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">` +
		`<rdf:Description rdf:about="" xmlns:bp="urn:boardproof:sheet">` + xmpBegin + string(data) + xmpEnd +
		"</rdf:Description></rdf:RDF></x:xmpmeta>\n" + `<?xpacket end="r"?>`)
}

// sealed puts the seal into a file that carries noSeal.
func sealed(file []byte) ([]byte, error) {
	from, to, ok := sealAt(file)
	if !ok {
		return nil, errors.New("the sheet has no place for its seal")
	}
	sum := sha256.Sum256(file)
	copy(file[from:to], hex.EncodeToString(sum[:]))
	return file, nil
}

// sealHolds says whether a file is as it was when it was sealed.
func sealHolds(file []byte, seal string) bool {
	from, to, ok := sealAt(file)
	if !ok {
		return false
	}
	blank := bytes.Clone(file)
	copy(blank[from:to], noSeal)
	sum := sha256.Sum256(blank)
	return hex.EncodeToString(sum[:]) == seal
}

// sealAt finds the seal within what is carried.
func sealAt(file []byte) (from, to int, ok bool) {
	begin, end, found := carriedAt(file)
	if !found {
		return 0, 0, false
	}
	at := bytes.LastIndex(file[begin:end], []byte(`"seal":"`))
	if at < 0 {
		return 0, 0, false
	}
	from = begin + at + len(`"seal":"`)
	to = from + len(noSeal)
	return from, to, to <= end
}

func carriedAt(file []byte) (begin, end int, ok bool) {
	for _, marks := range [][2]string{{xmpBegin, xmpEnd}, {htmlBegin, htmlEnd}} {
		at := bytes.Index(file, []byte(marks[0]))
		if at < 0 {
			continue
		}
		begin = at + len(marks[0])
		if length := bytes.Index(file[begin:], []byte(marks[1])); length >= 0 {
			return begin, begin + length, true
		}
	}
	return 0, 0, false
}

// ErrNotASheet: the file carries nothing by which it could be told.
var ErrNotASheet = errors.New("it carries no run of boardproof: it is no sheet or label, or was printed or saved anew by another program")

// Read finds what a file carries. The error may be ErrNotASheet.
func Read(file []byte) (Carried, error) {
	begin, end, ok := carriedAt(file)
	if !ok {
		return Carried{}, ErrNotASheet
	}
	var c Carried
	if err := json.Unmarshal(file[begin:end], &c); err != nil || c.Run == "" {
		return Carried{}, ErrNotASheet
	}
	return c, nil
}

// Make makes a sheet: the same source and options give the same bytes.
func Make(s Source, o Options) ([]byte, error) { return makeAs(s, o, maker()) }

// makeAs makes a sheet that says it was made by another.
func makeAs(s Source, o Options, maker string) ([]byte, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	data, err := json.Marshal(carried(s, o, maker))
	if err != nil {
		return nil, fmt.Errorf("encoding what the sheet carries: %w", err)
	}
	var file []byte
	switch {
	case o.Kind == Label62 || o.Kind == Label24:
		file, err = labelPDF(s, o, data)
	case o.Form == HTML:
		file, err = sheetHTML(s, o, data)
	default:
		file, err = sheetPDF(s, o, data)
	}
	if err != nil {
		return nil, err
	}
	return sealed(file)
}
