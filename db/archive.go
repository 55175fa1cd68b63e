package db

import (
	"archive/tar"
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"time"
)

// An archive is a board's whole life as one file: a tar file, not compressed,
// of manifest.json, life.jsonl and takes/<sha256>.wav, in this order, the takes
// by name. Nothing in it depends on when or where it was written: the same
// life gives the same bytes. README describes it.
const (
	archiveFormat = "boardproof-archive/1"
	manifestName  = "manifest.json"
	lifeName      = "life.jsonl"
)

// Manifest is the first entry of an archive.
type Manifest struct {
	Format string         `json:"format"`
	Board  ManifestBoard  `json:"board"`
	Files  []ManifestFile `json:"files"`
	// Missing are takes that runs name and the store no longer had.
	Missing []string `json:"missing,omitempty"`
}

// ManifestBoard says whose life it is.
type ManifestBoard struct {
	UID   string `json:"uid"`
	Label string `json:"label"`
}

// ManifestFile is one further entry.
type ManifestFile struct {
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// record is one line of life.jsonl.
type record struct {
	// Type is "board", "bench", "profile", "plan", "run", or one of lifeParts.
	Type string `json:"type"`
	// ID is what a run or a profile was called in the store that made it.
	ID string `json:"id,omitempty"`
	// Digest is the SHA-256 of Body as it stands, of Text in a plan.
	Digest string `json:"digest"`
	// Corrects and Recomputes name runs by ID.
	Corrects   string `json:"corrects,omitempty"`
	Recomputes string `json:"recomputes,omitempty"`
	// Version, Created and Text are those of a plan.
	Version int             `json:"version,omitempty"`
	Created string          `json:"created,omitempty"`
	Text    string          `json:"text,omitempty"`
	Body    json.RawMessage `json:"body,omitempty"`
}

// life is all of a board but its takes.
type life struct {
	board   Board
	records []record
	// takes are the hashes of the takes that are named, sorted.
	takes []string
}

func (l *life) add(r record, body any, without ...string) error {
	if body != nil {
		text, err := canonicalJSON(body, without...)
		if err != nil {
			return fmt.Errorf("writing a %s: %w", r.Type, err)
		}
		r.Body = text
	}
	if r.Digest = hexSHA(r.Body); r.Text != "" {
		r.Digest = hexSHA([]byte(r.Text))
	}
	l.records = append(l.records, r)
	return nil
}

func (l *life) text() ([]byte, error) {
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	for _, r := range l.records {
		if err := enc.Encode(r); err != nil {
			return nil, fmt.Errorf("writing a %s: %w", r.Type, err)
		}
	}
	return out.Bytes(), nil
}

// Export writes a board's whole life to w as an archive and returns its
// manifest. A take that is no longer there is left out and named in the
// manifest; the error is ErrTakeDamaged or ErrChanged where what is there is
// not what was kept.
func (s *Store) Export(ctx context.Context, boardID int64, w io.Writer) (Manifest, error) {
	l, err := s.life(ctx, boardID)
	if err != nil {
		return Manifest{}, fmt.Errorf("exporting board %d: %w", boardID, storeFault(s.path, err))
	}
	m, err := s.writeArchive(w, l)
	if err != nil {
		return Manifest{}, fmt.Errorf("exporting board %q: %w", l.board.Label, err)
	}
	return m, nil
}

func (s *Store) writeArchive(w io.Writer, l *life) (Manifest, error) {
	text, err := l.text()
	if err != nil {
		return Manifest{}, err
	}
	m := Manifest{Format: archiveFormat, Board: ManifestBoard{l.board.UID, l.board.Label},
		Files: []ManifestFile{{lifeName, int64(len(text)), hexSHA(text)}}}
	for _, sha := range l.takes {
		info, err := os.Stat(s.takeFile(sha))
		if err != nil {
			m.Missing = append(m.Missing, sha)
			continue
		}
		m.Files = append(m.Files, ManifestFile{takeName(sha), info.Size(), sha})
	}
	head, err := json.MarshalIndent(m, "", " ")
	if err != nil {
		return Manifest{}, err
	}
	out := tar.NewWriter(w)
	if err := addEntry(out, manifestName, int64(len(head)), bytes.NewReader(head)); err != nil {
		return Manifest{}, err
	}
	if err := addEntry(out, lifeName, int64(len(text)), bytes.NewReader(text)); err != nil {
		return Manifest{}, err
	}
	for _, f := range m.Files[1:] {
		if err := s.addTake(out, f); err != nil {
			return Manifest{}, err
		}
	}
	return m, out.Close()
}

func takeName(sha string) string { return "takes/" + sha + ".wav" }

// addEntry writes one entry that says nothing of who wrote it and when.
func addEntry(out *tar.Writer, name string, size int64, from io.Reader) error {
	h := &tar.Header{Typeflag: tar.TypeReg, Name: name, Size: size, Mode: 0o644, ModTime: time.Unix(0, 0), Format: tar.FormatUSTAR}
	if err := out.WriteHeader(h); err != nil {
		return fmt.Errorf("writing %s: %w", name, err)
	}
	if _, err := io.Copy(out, from); err != nil {
		return fmt.Errorf("writing %s: %w", name, err)
	}
	return nil
}

func (s *Store) addTake(out *tar.Writer, f ManifestFile) (err error) {
	file, err := os.Open(s.takeFile(f.SHA256))
	if err != nil {
		return fmt.Errorf("reading a take: %w", err)
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	sum := newHash(file)
	if err := addEntry(out, f.Name, f.Bytes, sum); err != nil {
		return err
	}
	if sum.hex() != f.SHA256 {
		return ofKind(ErrTakeDamaged, "take %s is not the file that was kept: 'boardproof verify' names all that is damaged; put back a copy", f.SHA256)
	}
	return nil
}

// life gathers all of a board, in an order that is the same in every store.
func (s *Store) life(ctx context.Context, boardID int64) (*life, error) {
	b, err := s.Board(ctx, boardID)
	if err != nil {
		return nil, err
	}
	l := &life{board: b}
	if err := l.add(record{Type: "board"}, b, "id"); err != nil {
		return nil, err
	}
	if err := checkRows(ctx, s.db, boardID); err != nil {
		return nil, err
	}
	runs, err := s.wholeRuns(ctx, boardID)
	if err != nil {
		return nil, err
	}
	for _, part := range []func(context.Context, *Store, []Run) error{l.addBenches, l.addProfiles, l.addPlans, l.addRuns} {
		if err := part(ctx, s, runs); err != nil {
			return nil, err
		}
	}
	for _, p := range lifeParts {
		if err := p.gather(ctx, s, l); err != nil {
			return nil, fmt.Errorf("%ss: %w", p.name, err)
		}
	}
	slices.Sort(l.takes)
	l.takes = slices.Compact(l.takes)
	return l, nil
}

// origin is what r is called where it was made.
func (r Run) origin() string { return cmp.Or(r.OriginID, r.ID) }

// wholeRuns are the runs of a board in the order of life.jsonl.
func (s *Store) wholeRuns(ctx context.Context, boardID int64) ([]Run, error) {
	runs, err := s.Runs(ctx, boardID)
	if err != nil {
		return nil, err
	}
	for i := range runs {
		if runs[i], err = s.FindRun(ctx, runs[i].ID); err != nil {
			return nil, err
		}
		if runs[i].Digest, err = runs[i].checkedDigest(); err != nil {
			return nil, err
		}
	}
	slices.SortStableFunc(runs, func(a, b Run) int {
		return cmp.Or(a.Started.Compare(b.Started), cmp.Compare(len(a.origin()), len(b.origin())),
			cmp.Compare(a.origin(), b.origin()), cmp.Compare(a.Digest, b.Digest))
	})
	return runs, nil
}

// addBenches adds the benches of this store that the board was measured on,
// as they are set up now, and those that came with an import.
func (l *life) addBenches(ctx context.Context, s *Store, runs []Run) error {
	bodies, err := collect(ctx, s.db, scanText, sqlArchivedBenches, l.board.ID)
	if err != nil {
		return err
	}
	for _, r := range runs {
		if r.OriginID != "" {
			continue
		}
		b, err := s.Bench(ctx, r.Bench)
		if errors.Is(err, ErrNotFound) {
			continue
		}
		if err != nil {
			return err
		}
		text, err := canonicalJSON(b)
		if err != nil {
			return err
		}
		bodies = append(bodies, string(text))
	}
	slices.Sort(bodies)
	for _, body := range slices.Compact(bodies) {
		if err := l.add(record{Type: "bench"}, json.RawMessage(body)); err != nil {
			return err
		}
	}
	return nil
}

type keptProfile struct{ id, origin, body, digest string }

func scanKeptProfile(row scanner) (p keptProfile, err error) {
	err = row.Scan(&p.id, &p.origin, &p.body, &p.digest)
	return p, err
}

// addProfiles adds the profiles that runs were made with.
func (l *life) addProfiles(ctx context.Context, s *Store, runs []Run) error {
	var all []record
	for _, r := range runs {
		if r.ProfileID == "" {
			continue
		}
		p, err := s.profileRecord(ctx, r.ProfileID)
		if err != nil {
			return err
		}
		all = append(all, p)
	}
	l.addSorted(all)
	return nil
}

func (s *Store) profileRecord(ctx context.Context, id string) (record, error) {
	p, err := scanKeptProfile(s.db.QueryRowContext(ctx, sqlKeptProfile, id))
	if err != nil {
		return record{}, fmt.Errorf("profile %s: %w", id, err)
	}
	text, err := profileText(p.body)
	if err != nil {
		return record{}, fmt.Errorf("profile %s: %w", id, err)
	}
	r := record{Type: "profile", ID: cmp.Or(p.origin, p.id), Digest: hexSHA(text), Body: text}
	if p.digest != "" && r.Digest != p.digest {
		return record{}, ofKind(ErrChanged, "profile %s is not as it was kept (%s): put back a copy of the store", id, changedWords(r.Digest, p.digest))
	}
	return r, nil
}

// addSorted adds each of all once that is not there, by digest and name.
func (l *life) addSorted(all []record) {
	slices.SortFunc(all, func(a, b record) int {
		return cmp.Or(cmp.Compare(len(a.ID), len(b.ID)), cmp.Compare(a.ID, b.ID), cmp.Compare(a.Digest, b.Digest))
	})
	for _, r := range all {
		same := func(o record) bool { return o.Type == r.Type && o.Digest == r.Digest && o.ID == r.ID }
		if !slices.ContainsFunc(l.records, same) {
			l.records = append(l.records, r)
		}
	}
}

// addPlans adds every version of the board's plan.
func (l *life) addPlans(ctx context.Context, s *Store, _ []Run) error {
	plans, err := collect(ctx, s.db, scanPlan, sqlPlansOfBoard, l.board.ID)
	if err != nil {
		return err
	}
	for _, p := range plans {
		if err := l.add(record{Type: "plan", Version: p.Version, Created: timeText(p.Created), Text: p.Text}, nil); err != nil {
			return err
		}
	}
	return nil
}

func (l *life) addRuns(_ context.Context, _ *Store, runs []Run) error {
	origins := map[string]string{}
	for _, r := range runs {
		origins[r.ID] = r.origin()
	}
	for _, r := range runs {
		text, err := r.canonical()
		if err != nil {
			return fmt.Errorf("run %s: %w", r.ID, err)
		}
		l.records = append(l.records, record{Type: "run", ID: r.origin(), Digest: r.Digest, Corrects: origins[r.Corrects],
			Recomputes: origins[r.Recomputes], Body: text})
		for _, t := range r.Takes {
			l.takes = append(l.takes, t.SHA256)
		}
	}
	return nil
}
