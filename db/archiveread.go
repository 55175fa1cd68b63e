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
	"strings"
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
