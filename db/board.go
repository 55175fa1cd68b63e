package db

import (
	"cmp"
	"context"
	"crypto/rand"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"
)

// Board is a finished pedalboard.
type Board struct {
	ID int64 `json:"id"`
	// UID is given when a board is registered and stays with it in archives:
	// by it a board is the same one in every store.
	UID string `json:"uid,omitempty"`
	// Label is what the board is called, unique whatever its case.
	Label  string `json:"label"`
	Owner  string `json:"owner,omitempty"`
	Serial string `json:"serial,omitempty"`
	// Outputs are the labels of its outputs, the reference first.
	Outputs []string `json:"outputs"`
	// Chain is in the order of the signal.
	Chain   []Device  `json:"chain,omitempty"`
	Notes   string    `json:"notes,omitempty"`
	Created time.Time `json:"created"` // UTC
}

// Device is a pedal, a buffer or a split on a board.
type Device struct {
	Name string `json:"name"`
	// Kind is in the trade's words: "fuzz", "buffer", "delay, buffered bypass".
	Kind string `json:"kind"`
	// SupplyV and SupplyMA are its supply in volts and milliamperes, 0 for none.
	SupplyV  float64 `json:"supply_v,omitempty"`
	SupplyMA float64 `json:"supply_ma,omitempty"`
	// Plug says its plug and polarity.
	Plug string `json:"plug,omitempty"`
}

// maxLabel is the longest label in characters: it must fit on a sheet.
const maxLabel = 60

// AddBoard registers b and returns it with ID and Created set. The error may
// be ErrDuplicate or ErrInvalid.
func (s *Store) AddBoard(ctx context.Context, b Board) (Board, error) {
	b.Label = strings.TrimSpace(b.Label)
	if err := b.check(); err != nil {
		return Board{}, err
	}
	b.Created, b.UID = s.Now().UTC(), newUID()
	err := s.write(ctx, fmt.Sprintf("registering board %q", b.Label), func(tx *sql.Tx) error {
		taken, err := scanBoard(tx.QueryRowContext(ctx, sqlBoardByKey, fold(b.Label)))
		if err == nil {
			return ofKind(ErrDuplicate, "a board %q is registered already: give this one another label", taken.Label)
		}
		if !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		b, err = insertBoard(ctx, tx, b)
		return err
	})
	if err != nil {
		return Board{}, err
	}
	return b, nil
}

// insertBoard writes a board and its chain as they are.
func insertBoard(ctx context.Context, tx *sql.Tx, b Board) (Board, error) {
	outputs, err := json.Marshal(b.Outputs)
	if err != nil {
		return Board{}, err
	}
	row := tx.QueryRowContext(ctx, sqlAddBoard, b.Label, fold(b.Label), b.Owner, b.Serial, string(outputs), b.Notes, timeText(b.Created), b.UID,
		fold(b.Owner), fold(b.Serial))
	if err := row.Scan(&b.ID); err != nil {
		return Board{}, err
	}
	return b, insertChain(ctx, tx, b.ID, b.Chain)
}

// insertChain writes the chain of a board that has none.
func insertChain(ctx context.Context, tx *sql.Tx, boardID int64, chain []Device) error {
	var keys []string
	for i, d := range chain {
		if _, err := tx.ExecContext(ctx, sqlAddDevice, boardID, i+1, d.Name, d.Kind, d.SupplyV, d.SupplyMA, d.Plug); err != nil {
			return fmt.Errorf("device %d: %w", i+1, err)
		}
		keys = append(keys, fold(d.Name+", "+d.Kind))
	}
	_, err := tx.ExecContext(ctx, sqlSetDevicesKey, strings.Join(keys, "\n"), boardID)
	return err
}

// newUID is one that no other store gives either: 128 random bits.
func newUID() string {
	var b [16]byte
	rand.Read(b[:]) //nolint:errcheck // never fails: it ends the program instead
	return hex.EncodeToString(b[:])
}

func (b Board) check() error {
	bad := func(format string, args ...any) error {
		return ofKind(ErrInvalid, "board %q cannot be registered: %s", b.Label, fmt.Sprintf(format, args...))
	}
	if b.Label == "" || len([]rune(b.Label)) > maxLabel || strings.ContainsFunc(b.Label, Unseen) || !utf8.ValidString(b.Label) {
		return bad("its label must be 1 to %d printable characters", maxLabel)
	}
	if how := cmp.Or(firstFault(MaxName, false, [2]string{"its owner", b.Owner}, [2]string{"its serial", b.Serial}),
		firstFault(MaxNotes, true, [2]string{"its notes", b.Notes})); how != "" {
		return bad("%s", how)
	}
	if len(b.Outputs) == 0 {
		return bad("it has no outputs: name at least one")
	}
	for i, o := range b.Outputs {
		if o == "" || o != strings.TrimSpace(o) || strings.ContainsAny(o, "=,") || TextFault(o, MaxName, false) != "" {
			return bad("output %q must be a short name without spaces around it, = or comma", o)
		}
		same := func(other string) bool { return fold(other) == fold(o) }
		if slices.IndexFunc(b.Outputs, same) < i {
			return bad("it has two outputs %q: give one another name", o)
		}
	}
	for i, d := range b.Chain {
		if how := firstFault(MaxName, false, [2]string{"name", d.Name}, [2]string{"kind", d.Kind}, [2]string{"plug", d.Plug}); how != "" {
			return bad("device %d: its %s", i+1, how)
		}
		switch {
		case strings.TrimSpace(d.Name) == "":
			return bad("device %d has no name", i+1)
		case !(d.SupplyV >= -100 && d.SupplyV <= 100):
			return bad("device %d, %s: %g V is no supply of a pedal", i+1, d.Name, d.SupplyV)
		case !(d.SupplyMA >= 0 && d.SupplyMA <= 20000):
			return bad("device %d, %s: %g mA is no supply of a pedal", i+1, d.Name, d.SupplyMA)
		}
	}
	return nil
}

// FindBoard finds a board by its label, its serial, or the beginning of
// either, whatever the case; a label goes before a serial. The error may be a
// *NotFoundError or an *AmbiguousError.
func (s *Store) FindBoard(ctx context.Context, name string) (Board, error) {
	b, err := scanBoard(s.db.QueryRowContext(ctx, sqlBoardByKey, fold(name)))
	if errors.Is(err, sql.ErrNoRows) {
		b, err = s.findOther(ctx, name)
	}
	if isNamed(err) {
		return Board{}, err
	}
	if err != nil {
		return Board{}, fmt.Errorf("finding board %q: %w", name, storeFault(s.path, err))
	}
	return s.withChain(ctx, b)
}

// findOther finds a board by anything but its whole label.
func (s *Store) findOther(ctx context.Context, name string) (Board, error) {
	key := fold(name)
	if key == "" {
		return Board{}, &NotFoundError{What: "board", Name: name}
	}
	bySerial := func(query string, args ...any) (Board, error) {
		found, err := collect(ctx, s.db, scanBoard, query, append(args, maxNear+1)...)
		switch {
		case err != nil:
			return Board{}, err
		case len(found) == 0:
			return Board{}, &NotFoundError{What: "board", Name: name}
		case len(found) > 1:
			var labels []string
			for _, b := range found {
				labels = append(labels, b.Label)
			}
			return Board{}, &AmbiguousError{What: "board", Name: name, Names: labels}
		}
		return found[0], nil
	}
	if b, err := bySerial(sqlBoardsBySerial, key); !errors.Is(err, ErrNotFound) {
		return b, err
	}
	label, notFound := s.findLabel(ctx, name)
	if errors.Is(notFound, ErrNotFound) {
		if b, err := bySerial(sqlSerialsFrom, key, afterPrefix(key)); !errors.Is(err, ErrNotFound) {
			return b, err
		}
	}
	if notFound != nil {
		return Board{}, notFound
	}
	return scanBoard(s.db.QueryRowContext(ctx, sqlBoardByKey, fold(label)))
}

// isNamed says whether err speaks of the name that was looked for.
func isNamed(err error) bool { return errors.Is(err, ErrNotFound) || errors.Is(err, ErrAmbiguous) }

// findLabel finds the one label that begins like name.
func (s *Store) findLabel(ctx context.Context, name string) (string, error) {
	key := fold(name)
	if key != "" {
		begin, err := s.labels(ctx, sqlBoardsFrom, key, afterPrefix(key), maxNear+1)
		if err != nil {
			return "", fmt.Errorf("finding board %q: %w", name, storeFault(s.path, err))
		}
		if len(begin) == 1 {
			return begin[0].label, nil
		}
		if len(begin) > 1 {
			return "", &AmbiguousError{What: "board", Name: name, Names: labelsOf(begin)}
		}
	}
	all, err := s.labels(ctx, sqlBoardLabels)
	if err != nil {
		return "", fmt.Errorf("finding board %q: %w", name, storeFault(s.path, err))
	}
	return "", &NotFoundError{What: "board", Name: name, Near: nearest(key, all)}
}

// Board returns the board of an id.
func (s *Store) Board(ctx context.Context, id int64) (Board, error) {
	b, err := scanBoard(s.db.QueryRowContext(ctx, sqlBoardByID, id))
	if errors.Is(err, sql.ErrNoRows) {
		return Board{}, &NotFoundError{What: "board", Name: fmt.Sprint(id)}
	}
	if err != nil {
		return Board{}, fmt.Errorf("reading board %d: %w", id, storeFault(s.path, err))
	}
	return s.withChain(ctx, b)
}

// Boards lists every board by label, without its chain.
func (s *Store) Boards(ctx context.Context) ([]Board, error) {
	boards, err := collect(ctx, s.db, scanBoard, sqlBoards)
	if err != nil {
		return nil, fmt.Errorf("listing the boards: %w", storeFault(s.path, err))
	}
	return boards, nil
}

func (s *Store) withChain(ctx context.Context, b Board) (Board, error) {
	chain, err := collect(ctx, s.db, scanDevice, sqlDevices, b.ID)
	if err != nil {
		return Board{}, fmt.Errorf("reading the chain of board %q: %w", b.Label, storeFault(s.path, err))
	}
	b.Chain = chain
	return b, nil
}

func scanBoard(row scanner) (Board, error) {
	var b Board
	var outputs, created string
	if err := row.Scan(&b.ID, &b.Label, &b.Owner, &b.Serial, &outputs, &b.Notes, &created, &b.UID); err != nil {
		return Board{}, err
	}
	if err := json.Unmarshal([]byte(outputs), &b.Outputs); err != nil {
		return Board{}, fmt.Errorf("reading the outputs of board %q: %w", b.Label, err)
	}
	var err error
	b.Created, err = parseTime(created)
	return b, err
}

func scanDevice(row scanner) (Device, error) {
	var d Device
	err := row.Scan(&d.Name, &d.Kind, &d.SupplyV, &d.SupplyMA, &d.Plug)
	return d, err
}
