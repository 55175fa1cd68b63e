package db

import (
	"archive/tar"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"regexp"
	"slices"
	"strings"
	"time"

	"boardproof/analysis/verdict"
	"boardproof/calibration"
)

// What no honest archive exceeds. Nothing in one is compressed, so it cannot
// hold more than its own size either.
const (
	maxManifestBytes = 16 << 20
	maxLifeBytes     = 1 << 30
	maxTakeBytes     = 1 << 30
	maxArchiveFiles  = 100_000
)

var (
	shaText      = regexp.MustCompile(`^[0-9a-f]{64}$`)
	takeFileName = regexp.MustCompile(`^takes/[0-9a-f]{64}\.wav$`)
	idText       = regexp.MustCompile(`^[a-z][0-9]{8}-[0-9]{4,9}$`)
)

func badArchive(format string, args ...any) error {
	return ofKind(ErrInvalid, "not imported: %s", fmt.Sprintf(format, args...))
}

// hashing reads and hashes what it reads.
type hashing struct {
	io.Reader
	sum hash.Hash
}

func newHash(r io.Reader) *hashing {
	sum := sha256.New()
	return &hashing{io.TeeReader(r, sum), sum}
}

func (h *hashing) hex() string { return hex.EncodeToString(h.sum.Sum(nil)) }

// readArchive reads an archive from its beginning to its end, holds all of it
// against its manifest and each record against its digest, and gives every
// take to take. The error is ErrInvalid or ErrNewer, or take's own.
func readArchive(r io.Reader, take func(sha string, samples io.Reader) error) (*archive, error) {
	in := tar.NewReader(r)
	a := &archive{}
	head, err := readEntry(in, manifestName, maxManifestBytes)
	if err != nil {
		return nil, err
	}
	if err := a.manifest.parse(head); err != nil {
		return nil, err
	}
	text, err := readEntry(in, lifeName, a.manifest.Files[0].Bytes)
	if err != nil {
		return nil, err
	}
	if hexSHA(text) != a.manifest.Files[0].SHA256 {
		return nil, badArchive("%s is damaged: its digest is not the manifest's", lifeName)
	}
	if err := a.parse(text); err != nil {
		return nil, err
	}
	for _, f := range a.manifest.Files[1:] {
		if err := readTake(in, f, take); err != nil {
			return nil, err
		}
	}
	if h, err := in.Next(); !errors.Is(err, io.EOF) {
		if err != nil {
			return nil, badArchive("the archive is damaged after its last take (%v)", err)
		}
		return nil, badArchive("the archive holds %.80q, which its manifest does not name", h.Name)
	}
	return a, nil
}

// nextEntry steps to the entry that must come next.
func nextEntry(in *tar.Reader, name string) (size int64, err error) {
	h, err := in.Next()
	switch {
	case errors.Is(err, io.EOF):
		return 0, badArchive("the file ends before %s", name)
	case err != nil && name == manifestName:
		return 0, badArchive("the file is no archive of a board (%v)", err)
	case err != nil:
		return 0, badArchive("the archive is damaged before %s (%v)", name, err)
	case name == manifestName && h.Name != name:
		return 0, badArchive("the file is no archive of a board: it begins with %.80q, not %s", h.Name, name)
	case h.Name != name:
		return 0, badArchive("the archive holds %.80q where its manifest names %s", h.Name, name)
	// Sparse files and links come in other types and formats.
	case h.Typeflag != tar.TypeReg || h.Format != tar.FormatUSTAR:
		return 0, badArchive("%s in the archive is no plain file", name)
	}
	return h.Size, nil
}

func readEntry(in *tar.Reader, name string, most int64) ([]byte, error) {
	size, err := nextEntry(in, name)
	if err != nil {
		return nil, err
	}
	if size > most {
		return nil, badArchive("%s has %d bytes, where at most %d are expected", name, size, most)
	}
	// Grown as it is read, so that a size that is claimed costs nothing.
	var text bytes.Buffer
	if n, err := io.Copy(&text, in); err != nil || n != size {
		return nil, badArchive("the archive is cut short in %s", name)
	}
	return text.Bytes(), nil
}

func readTake(in *tar.Reader, f ManifestFile, take func(sha string, samples io.Reader) error) error {
	size, err := nextEntry(in, f.Name)
	if err != nil {
		return err
	}
	if size != f.Bytes {
		return badArchive("%s has %d bytes, its manifest says %d", f.Name, size, f.Bytes)
	}
	samples := newHash(in)
	if err := take(f.SHA256, samples); err != nil {
		return err
	}
	if _, err := io.Copy(io.Discard, samples); err != nil {
		return badArchive("the archive is cut short in %s", f.Name)
	}
	if samples.hex() != f.SHA256 {
		return badArchive("%s is damaged: its digest is another", f.Name)
	}
	return nil
}

// parse reads the manifest and finds what it must not say.
func (m *Manifest) parse(text []byte) error {
	if err := json.Unmarshal(text, m); err != nil {
		return badArchive("its manifest cannot be read (%v)", err)
	}
	if m.Format != archiveFormat {
		if strings.HasPrefix(m.Format, "boardproof-archive/") {
			return ofKind(ErrNewer, "not imported: the archive is of the format %.40q and this boardproof knows %q: update boardproof", m.Format, archiveFormat)
		}
		return badArchive("the file is no archive of a board: its format is %.40q", m.Format)
	}
	if len(m.Files) == 0 || m.Files[0].Name != lifeName || len(m.Files) > maxArchiveFiles {
		return badArchive("its manifest names %d files, and %s must be the first of at most %d", len(m.Files), lifeName, maxArchiveFiles)
	}
	if n := m.Files[0].Bytes; n < 0 || n > maxLifeBytes {
		return badArchive("its manifest says %d bytes of %s, at most %d are expected", n, lifeName, maxLifeBytes)
	}
	for i, f := range m.Files[1:] {
		switch {
		case !takeFileName.MatchString(f.Name) || f.Name != takeName(f.SHA256):
			return badArchive("its manifest names %.80q, which is no take", f.Name)
		case i > 0 && f.Name <= m.Files[i].Name:
			return badArchive("its manifest names %s twice, or out of order", f.Name)
		case f.Bytes <= 0 || f.Bytes > maxTakeBytes:
			return badArchive("its manifest says %d bytes of %s, 1 to %d are expected", f.Bytes, f.Name, maxTakeBytes)
		}
	}
	return nil
}

// archive is one that was read whole and found in order.
type archive struct {
	manifest Manifest
	board    Board
	benches  []string // canonical JSON
	profiles []record
	plans    []record
	runs     []archivedRun
	parts    []record
}

// archivedRun is a run with its line in the archive.
type archivedRun struct {
	record
	run Run
}

// runKey tells runs apart: stores may have given one name to two runs, and one
// store may have kept the same twice.
type runKey struct{ origin, digest string }

func (r archivedRun) key() runKey { return runKey{r.ID, r.Digest} }

// parse reads life.jsonl and holds each record against its digest.
func (a *archive) parse(text []byte) error {
	if !bytes.HasSuffix(text, []byte("\n")) {
		return badArchive("%s does not end with a whole line", lifeName)
	}
	for i, line := range bytes.Split(bytes.TrimSuffix(text, []byte("\n")), []byte("\n")) {
		var r record
		if err := json.Unmarshal(line, &r); err != nil {
			return badArchive("line %d of %s cannot be read (%v)", i+1, lifeName, err)
		}
		content := []byte(r.Body)
		if r.Type == "plan" {
			content = []byte(r.Text)
		}
		if hexSHA(content) != r.Digest {
			return badArchive("line %d of %s, a %.20s, is damaged: its digest is another", i+1, lifeName, r.Type)
		}
		if (i == 0) != (r.Type == "board") {
			return badArchive("line %d of %s is a %.20q, and a board is the first line and no other", i+1, lifeName, r.Type)
		}
		if err := a.take(r); err != nil {
			return badArchive("line %d of %s: %v", i+1, lifeName, err)
		}
	}
	if a.board.UID == "" || a.board.UID != a.manifest.Board.UID {
		return badArchive("its manifest is of the board %.60q, its life of %.60q", a.manifest.Board.UID, a.board.UID)
	}
	return a.checkNames()
}

// take files one record.
func (a *archive) take(r record) error {
	switch r.Type {
	case "board":
		if err := json.Unmarshal(r.Body, &a.board); err != nil {
			return err
		}
		a.board.ID = 0
		return a.board.check()
	case "bench":
		var b Bench
		if err := json.Unmarshal(r.Body, &b); err != nil {
			return err
		}
		a.benches = append(a.benches, string(r.Body))
		return b.check()
	case "profile":
		var p calibration.Profile
		if err := json.Unmarshal(r.Body, &p); err != nil {
			return err
		}
		if fold(p.Bench) == "" || p.ID != "" || !isID(r.ID, 'p') || same(a.profiles, r) {
			return fmt.Errorf("profile %.40q has no bench, no name or is there twice", r.ID)
		}
		a.profiles = append(a.profiles, r)
		return nil
	case "plan":
		a.plans = append(a.plans, r)
		if _, err := parseTime(r.Created); err != nil || r.Version < 1 {
			return fmt.Errorf("version %d of the plan has no date or number", r.Version)
		}
		parsed, err := verdict.ParsePlan([]byte(r.Text))
		if err == nil {
			err = parsed.CheckOutputs(a.board.Outputs)
		}
		return err
	case "run":
		run, err := parseRun(r)
		a.runs = append(a.runs, archivedRun{r, run})
		return err
	}
	if i := slices.IndexFunc(lifeParts, func(p lifePart) bool { return p.name == r.Type }); i >= 0 {
		a.parts = append(a.parts, r)
		return lifeParts[i].check(r)
	}
	return fmt.Errorf("a %.20q is not known: update boardproof", r.Type)
}

// isID says whether id is one that a store gives.
func isID(id string, letter byte) bool {
	if !idText.MatchString(id) || id[0] != letter {
		return false
	}
	_, err := dayOf(id)
	return err == nil
}

// dayOf is the day in an id as in r20261125-0001.
func dayOf(id string) (time.Time, error) { return time.Parse("20060102", id[1:9]) }

func same(all []record, r record) bool {
	return slices.ContainsFunc(all, func(o record) bool { return o.ID == r.ID && o.Digest == r.Digest })
}

// parseRun reads a run and makes sure that nothing of it was lost: a later
// program may have written what this one does not know.
func parseRun(r record) (Run, error) {
	var b runBody
	if err := json.Unmarshal(r.Body, &b); err != nil {
		return Run{}, err
	}
	run := Run{
		BoardAsWas: b.Board, Bench: b.Bench, Simulated: b.Simulated, Operator: b.Operator, Started: b.Started,
		Finished: b.Finished, MethodVersion: b.MethodVersion, Verdict: b.Verdict, Notes: b.Notes, Readings: b.Readings,
		Curves: b.Curves, Refused: b.Refused, Takes: b.Takes, Digest: r.Digest, OriginID: r.ID,
		Named: Named{Profile: b.Profile, Plan: b.Plan, Corrects: b.Corrects, Recomputes: b.Recomputes},
	}
	switch {
	case !isID(r.ID, 'r'):
		return Run{}, fmt.Errorf("%.40q is no name of a run", r.ID)
	case b.Format != runFormat || Digest(run) != r.Digest:
		return Run{}, fmt.Errorf("run %s is of a newer boardproof: update boardproof", r.ID)
	}
	for _, t := range run.Takes {
		if !shaText.MatchString(t.SHA256) {
			return Run{}, fmt.Errorf("run %s names the take %.80q, which is no SHA-256", r.ID, t.SHA256)
		}
	}
	return run, run.check()
}

// checkNames makes sure that what runs name is there.
func (a *archive) checkNames() error {
	has := map[string]bool{}
	for _, r := range append(slices.Clone(a.profiles), a.plans...) {
		has[r.Type+r.Digest] = true
	}
	runs := map[runKey]bool{{}: true}
	for _, r := range a.runs {
		if runs[r.key()] {
			return badArchive("it holds the run %s twice", r.ID)
		}
		runs[r.key()] = true
	}
	for _, r := range a.runs {
		n := r.run.Named
		switch {
		case n.Profile != "" && !has["profile"+n.Profile], n.Plan != "" && !has["plan"+n.Plan]:
			return badArchive("run %s names a profile or a plan that is not in it", r.ID)
		case !runs[runKey{r.Corrects, n.Corrects}], !runs[runKey{r.Recomputes, n.Recomputes}]:
			return badArchive("run %s names another run that is not in it", r.ID)
		case r.run.BoardAsWas.UID != "" && r.run.BoardAsWas.UID != a.board.UID:
			return badArchive("run %s is of another board", r.ID)
		}
	}
	return nil
}
