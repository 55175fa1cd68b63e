package db

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"boardproof/calibration"
)

// Imported is what an import did.
type Imported struct {
	Board Board `json:"board"`
	// New: the board was not in the store. Label is what it was called in the
	// archive.
	New   bool   `json:"new"`
	Label string `json:"label"`
	// Runs are those that were taken in, by their names here; Had counts those
	// that were here already.
	Runs []string `json:"runs"`
	Had  int      `json:"had"`
	// Renamed gives the new names of what is called otherwise here, because
	// another has its name.
	Renamed map[string]string `json:"renamed,omitempty"`
	// Plans counts the versions of the plan that were taken in, Parts what
	// else was: "hunt", and so on.
	Plans int `json:"plans"`
	// NewestPlan is the version that the board is held against from now on,
	// where that came with the archive and the board did not.
	NewestPlan int            `json:"newest_plan,omitempty"`
	Parts      map[string]int `json:"parts,omitempty"`
	Takes      int            `json:"takes"`
	// Missing are takes that the archive came without.
	Missing []string `json:"missing,omitempty"`
	// Differences are those of a board that was here already.
	Differences []Difference `json:"differences,omitempty"`
}

// Import takes a board's life in from an archive. All of the archive is read
// and held against its digests first; then it is kept whole or not at all. A
// board of the same uid gets what it has not yet, and what was changed of it
// there alone (Differences); any other is registered, under another label where its own is taken. The error may be
// ErrInvalid, ErrNewer, ErrNotWritable or ErrBusy.
func (s *Store) Import(ctx context.Context, from io.ReadSeeker) (done Imported, err error) {
	for try := 1; ; try++ {
		done, err = s.importOnce(ctx, from)
		// Another's tidying may have come between the files and the rows.
		if !errors.Is(err, ErrTakeDamaged) || try == importTries {
			return done, err
		}
	}
}

const importTries = 5

func (s *Store) importOnce(ctx context.Context, from io.ReadSeeker) (done Imported, err error) {
	var added []string
	defer func() {
		if err != nil {
			err = errors.Join(err, s.dropUnnamed(context.WithoutCancel(ctx), added))
		}
	}()
	none := func(string, io.Reader) error { return ctx.Err() }
	put := func(sha string, samples io.Reader) error {
		path, err := s.importTake(sha, samples)
		if path != "" {
			added = append(added, path)
		}
		return errors.Join(err, ctx.Err())
	}
	var a *archive
	for _, take := range []func(string, io.Reader) error{none, put} {
		if _, err := from.Seek(0, io.SeekStart); err != nil {
			return Imported{}, fmt.Errorf("reading the archive: %w", err)
		}
		if a, err = readArchive(from, take); err != nil {
			return Imported{}, err
		}
	}
	if err := s.syncTakes(); err != nil {
		return Imported{}, err
	}
	im := &importing{archive: a, store: s, runIDs: map[runKey]string{}, profileIDs: map[string]string{}, planIDs: map[string]int64{}, eventsHere: map[string]bool{}}
	im.done = Imported{Label: a.board.Label, Renamed: map[string]string{}, Parts: map[string]int{}, Takes: len(added), Missing: a.manifest.Missing, Runs: []string{}}
	err = s.write(ctx, fmt.Sprintf("importing board %q", a.board.Label), func(tx *sql.Tx) error { return im.keep(ctx, tx) })
	return im.done, err
}

// dropUnnamed removes files of takes that no row names. It holds the store
// meanwhile, so that none can begin to.
func (s *Store) dropUnnamed(ctx context.Context, paths []string) error {
	if len(paths) == 0 {
		return nil
	}
	return s.write(ctx, "removing recordings that nothing names", func(tx *sql.Tx) error {
		named, err := namedTakes(ctx, tx)
		if err != nil {
			return err
		}
		paths = slices.DeleteFunc(paths, func(p string) bool { return named[strings.TrimSuffix(filepath.Base(p), ".wav")] })
		return removeAll(s.files, paths)
	})
}

// importing is an archive on its way into a store: what is called what there.
type importing struct {
	*archive
	store      *Store
	runIDs     map[runKey]string
	profileIDs map[string]string // by digest
	planIDs    map[string]int64  // by digest
	// eventsHere are those that were here before, by UID.
	eventsHere map[string]bool
	done       Imported
}

func (im *importing) keep(ctx context.Context, tx *sql.Tx) error {
	for _, part := range []func(context.Context, *sql.Tx) error{
		im.checkFiles, im.keepBoard, im.keepBenches, im.keepProfiles, im.keepPlans, im.keepRuns, im.keepParts, im.mergeBoard,
	} {
		if err := part(ctx, tx); err != nil {
			return err
		}
	}
	return nil
}

// checkFiles makes sure, while nobody can tidy, that each take is still there.
func (im *importing) checkFiles(_ context.Context, _ *sql.Tx) error {
	refs := make([]TakeRef, 0, len(im.manifest.Files))
	for _, f := range im.manifest.Files[1:] {
		refs = append(refs, TakeRef{SHA256: f.SHA256, Step: "of the archive"})
	}
	return im.store.checkTakes(refs)
}

// keepBoard finds the board by its uid, or registers it.
func (im *importing) keepBoard(ctx context.Context, tx *sql.Tx) error {
	here, err := scanBoard(tx.QueryRowContext(ctx, sqlBoardByUID, im.board.UID))
	if err == nil {
		if err := im.store.checkSeal(ctx, tx, "boards", here.ID); err != nil {
			return err
		}
		if im.done.Board, err = boardInTx(ctx, tx, here.ID); err != nil {
			return err
		}
		events, err := collect(ctx, tx, scanEvent, sqlEventsOfBoard, here.ID)
		for _, e := range events {
			im.eventsHere[e.UID] = true
		}
		return err
	}
	if !errors.Is(err, sql.ErrNoRows) {
		return err
	}
	b := im.board
	if b.Label, err = freeLabel(ctx, tx, b.Label); err != nil {
		return err
	}
	im.done.New = true
	im.done.Board, err = insertBoard(ctx, tx, b)
	return err
}

// freeLabel is label, or where another board has it label (2), label (3)…
func freeLabel(ctx context.Context, tx *sql.Tx, label string) (string, error) {
	free := label
	for n := 2; ; n++ {
		_, err := scanBoard(tx.QueryRowContext(ctx, sqlBoardByKey, fold(free)))
		if errors.Is(err, sql.ErrNoRows) {
			return free, nil
		}
		if err != nil {
			return "", err
		}
		end := fmt.Sprintf(" (%d)", n)
		letters := []rune(label)
		free = string(letters[:min(len(letters), maxLabel-len(end))]) + end
	}
}

// keepBenches keeps the benches apart from those of this store, which are to
// be measured on.
func (im *importing) keepBenches(ctx context.Context, tx *sql.Tx) error {
	for _, body := range im.benches {
		if _, err := tx.ExecContext(ctx, sqlAddArchivedBench, im.done.Board.ID, body); err != nil {
			return fmt.Errorf("benches: %w", err)
		}
	}
	return nil
}

func (im *importing) keepProfiles(ctx context.Context, tx *sql.Tx) error {
	for _, r := range im.profiles {
		id, err := scanText(tx.QueryRowContext(ctx, sqlProfileByDigest, r.Digest, r.ID))
		if errors.Is(err, sql.ErrNoRows) {
			// One that was kept before digests were has its own name still.
			if now, oldErr := keptProfileDigest(ctx, tx, r.ID); oldErr == nil && now == r.Digest {
				id, err = r.ID, nil
			} else {
				id, err = im.keepProfile(ctx, tx, r)
			}
		}
		if err != nil {
			return fmt.Errorf("profile %s: %w", r.ID, err)
		}
		im.profileIDs[r.Digest] = id
	}
	return nil
}

func (im *importing) keepProfile(ctx context.Context, tx *sql.Tx, r record) (string, error) {
	id, err := im.freeID(ctx, tx, r.ID, sqlProfile, sqlLastProfileOfDay)
	if err != nil {
		return "", err
	}
	var p calibration.Profile
	if err := json.Unmarshal(r.Body, &p); err != nil {
		return "", err
	}
	body, err := withMember(r.Body, "id", id)
	if err != nil {
		return "", err
	}
	_, err = tx.ExecContext(ctx, sqlAddProfile, id, fold(p.Bench), timeText(p.Created), p.Simulated, string(body), r.Digest, r.ID)
	return id, err
}

// withMember sets one member of a JSON object and leaves the others as they are.
func withMember(body []byte, name, value string) ([]byte, error) {
	var m map[string]json.RawMessage
	if err := json.Unmarshal(body, &m); err != nil {
		return nil, err
	}
	text, err := json.Marshal(value)
	if err != nil {
		return nil, err
	}
	m[name] = text
	return canonicalJSON(m)
}

// freeID is id, or the next of its day where another has it.
func (im *importing) freeID(ctx context.Context, tx *sql.Tx, id, find, lastOfDay string) (string, error) {
	rows, err := tx.QueryContext(ctx, find, id)
	if err != nil {
		return "", err
	}
	taken := rows.Next()
	if err := errors.Join(rows.Err(), rows.Close()); err != nil || !taken {
		return id, err
	}
	day, err := dayOf(id)
	if err != nil {
		return "", err
	}
	free, err := nextID(ctx, tx, id[:1], day, lastOfDay)
	im.done.Renamed[id] = free
	return free, err
}

func (im *importing) keepParts(ctx context.Context, tx *sql.Tx) error {
	for _, r := range im.parts {
		i := slices.IndexFunc(lifeParts, func(p lifePart) bool { return p.name == r.Type })
		added, err := lifeParts[i].keep(ctx, tx, im, r)
		if err != nil {
			return fmt.Errorf("%s %s: %w", r.Type, r.ID, err)
		}
		if added {
			im.done.Parts[r.Type]++
		}
	}
	return nil
}
