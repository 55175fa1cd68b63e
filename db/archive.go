package db

import (
	"archive/tar"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"time"
)

// An archive is a board's whole life as one file: a tar file, not compressed,
// of manifest.json, life.jsonl and takes/<sha256>.wav, in this order, the takes
// by name. Nothing in it depends on when or where it was written: the same
// life gives the same bytes. cmd/boardproof/help/data.md describes it.
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
		info, err := s.files.Stat(s.takeFile(sha))
		if errors.Is(err, fs.ErrNotExist) {
			m.Missing = append(m.Missing, sha)
			continue
		}
		if err != nil {
			return Manifest{}, fmt.Errorf("looking at take %s: %w", sha, err)
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
	file, err := s.files.Open(s.takeFile(f.SHA256))
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
