package db

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"

	"boardproof/capture"
	"boardproof/capture/wavfile"
	"boardproof/testsignals"
)

// TakeRef names a kept take and says what it is a recording of.
type TakeRef struct {
	// SHA256 is of the WAV file, in hexadecimal; the file has its name.
	SHA256 string `json:"sha256"`
	Step   string `json:"step,omitempty"`
	// Attempt counts from 1: how often the take had to be made.
	Attempt int `json:"attempt"`
	// LeftOut says why no reading was made of it, "" where it was used.
	LeftOut string `json:"left_out,omitempty"`
	// Again: it was made in place of one that was left out.
	Again bool `json:"again,omitempty"`
	// Take is the take without its samples.
	Take capture.Take `json:"take"`
}

// takeChunk is the RIFF chunk that holds the JSON of capture.Take.
const takeChunk = "bptk"

func (s *Store) takesDir() string { return s.path + ".takes" }

func (s *Store) takeFile(sha string) string { return filepath.Join(s.takesDir(), sha+".wav") }

// SaveTake writes take as a 32-bit float WAV file beside the store, with all
// that is known of it inside, and returns when it is on the disk for good.
// The file has no name in the store until a run names it.
func (s *Store) SaveTake(take *capture.Take, step string, attempt int) (TakeRef, error) {
	audio, err := takeAudio(take)
	if err != nil {
		return TakeRef{}, fmt.Errorf("keeping a take: %w", err)
	}
	sha, err := s.putTake(func(w io.Writer) error { return wavfile.Write(w, audio) }, "")
	if err == nil {
		err = s.syncTakes()
	}
	if err != nil {
		return TakeRef{}, fmt.Errorf("keeping a take: %w", err)
	}
	ref := TakeRef{SHA256: sha, Step: step, Attempt: attempt, Take: *take}
	ref.Take.Samples = nil
	return ref, nil
}

func takeAudio(take *capture.Take) (*wavfile.Audio, error) {
	meta, err := json.Marshal(take)
	if err != nil {
		return nil, fmt.Errorf("describing it: %w", err)
	}
	audio := &wavfile.Audio{
		RateHz: take.RateHz, Encoding: wavfile.Float32, Samples: take.Samples,
		Chunks: []wavfile.Chunk{{ID: takeChunk, Data: meta}},
	}
	if take.Signal != (testsignals.Spec{}) {
		spec, err := wavfile.EncodeSpec(take.Signal)
		if err != nil {
			return nil, err
		}
		audio.Chunks = append(audio.Chunks, spec)
	}
	return audio, nil
}

// putTake writes a file under a passing name and gives it its own once every
// byte of it is on the disk. The name itself is there for good after syncTakes.
func (s *Store) putTake(write func(io.Writer) error, want string) (sha string, err error) {
	tmp, err := s.files.CreateTemp(s.takesDir(), ".take-*")
	if err != nil {
		return "", fileFault(err, "the folder for takes cannot be written (%v): make it writable")
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, ignoreMissing(s.files.Remove(tmp.Name())))
		}
	}()
	digest := sha256.New()
	err = write(io.MultiWriter(tmp, digest))
	if err == nil {
		err = tmp.Chmod(0o444)
	}
	if err == nil {
		err = tmp.Sync()
	}
	if err = errors.Join(err, tmp.Close()); err != nil {
		return "", fileFault(err, "a take's file cannot be written (%v): make the folder for takes writable")
	}
	sha = hex.EncodeToString(digest.Sum(nil))
	if want != "" && sha != want {
		return "", ofKind(ErrInvalid, "take %s is damaged: its digest is another", want)
	}
	if err := s.files.Rename(tmp.Name(), s.takeFile(sha)); err != nil {
		return "", fileFault(err, "a take's file cannot be named (%v): make the folder for takes writable")
	}
	return sha, nil
}

// syncTakes puts the names of the takes' files on the disk, after which rows
// may name them.
func (s *Store) syncTakes() error {
	return syncDirs(s.files, s.takesDir(), filepath.Dir(s.path))
}

func ignoreMissing(err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

// LoadTake reads a kept take back, its samples rounded to 32-bit float. The
// error is ErrTakeDamaged where the file is gone or is not the one that was
// kept.
func (s *Store) LoadTake(ref TakeRef) (*capture.Take, error) {
	raw, err := s.readTake(ref.SHA256)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, s.takeGone(ref.SHA256)
	}
	if err != nil {
		return nil, fmt.Errorf("reading a take: %w", err)
	}
	if sum := sha256.Sum256(raw); hex.EncodeToString(sum[:]) != ref.SHA256 {
		return nil, ofKind(ErrTakeDamaged, "take %s is not the file that was kept: put back a copy", ref.SHA256)
	}
	audio, err := wavfile.Read(bytes.NewReader(raw))
	if err != nil {
		return nil, fmt.Errorf("reading a take: %w", err)
	}
	take := &capture.Take{}
	for _, c := range audio.Chunks {
		if c.ID != takeChunk {
			continue
		}
		if err := json.Unmarshal(c.Data, take); err != nil {
			return nil, fmt.Errorf("reading what a take says of itself: %w", err)
		}
	}
	take.Samples = audio.Samples
	return take, nil
}

// TakesThere says which of takes has no file any more, as LoadTake does, and reads
// none.
func (s *Store) TakesThere(takes []TakeRef) error {
	for _, ref := range takes {
		if _, err := s.files.Stat(s.takeFile(ref.SHA256)); errors.Is(err, fs.ErrNotExist) {
			return s.takeGone(ref.SHA256)
		}
	}
	return nil
}

func (s *Store) takeGone(sha string) error {
	if s.wasTidied(sha) {
		return ofKind(ErrTakeDamaged, "take %s was tidied away: only the readings that were made of it are left", sha)
	}
	return ofKind(ErrTakeDamaged, "take %s is no longer beside the store: put the folder %s back", sha, s.takesDir())
}

func (s *Store) readTake(sha string) (raw []byte, err error) {
	f, err := s.files.Open(s.takeFile(sha))
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	return io.ReadAll(f)
}

// checkTakes says whether rows may name the files of takes. It is asked in the
// transaction that writes those rows: nothing tidies while that holds the store.
func (s *Store) checkTakes(takes []TakeRef) error {
	for _, t := range takes {
		info, err := s.files.Stat(s.takeFile(t.SHA256))
		if errors.Is(err, fs.ErrNotExist) || err == nil && info.Size() == 0 {
			return ofKind(ErrTakeDamaged, "take %q of step %q was not kept before the run: measure again", t.SHA256, t.Step)
		}
		if err != nil {
			return fmt.Errorf("looking at take %s: %w", t.SHA256, err)
		}
	}
	return nil
}

// importTake keeps a take's file that is not there, and says where. One that
// is there is made as young as if it had just been written, so that it is not
// tidied before a row names it.
func (s *Store) importTake(sha string, samples io.Reader) (path string, err error) {
	if now, err := s.takeSHA(sha); err == nil && now == sha {
		return "", s.files.Touch(s.takeFile(sha), s.Now())
	}
	_, err = s.putTake(func(w io.Writer) error { _, err := io.Copy(w, samples); return err }, sha)
	if err != nil {
		return "", fmt.Errorf("keeping take %s: %w", sha, err)
	}
	return s.takeFile(sha), nil
}

// takeSHA hashes the file of a take as it is now.
func (s *Store) takeSHA(sha string) (string, error) {
	f, err := s.files.Open(s.takeFile(sha))
	if err != nil {
		return "", err
	}
	defer f.Close()
	sum := newHash(f)
	if _, err := io.Copy(io.Discard, sum); err != nil {
		return "", err
	}
	return sum.hex(), nil
}

func removeAll(files fileSystem, paths []string) (err error) {
	for _, p := range paths {
		err = errors.Join(err, ignoreMissing(files.Remove(p)))
	}
	return err
}
