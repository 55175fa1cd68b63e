package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
)

// write runs f in one transaction: all of it is kept, or nothing.
// Where another program holds the store it waits until ctx ends.
func (s *Store) write(ctx context.Context, doing string, f func(*sql.Tx) error) error {
	if s.readOnly {
		return fmt.Errorf("%s: %w", doing, ofKind(ErrNotWritable, "the store %s can only be read here: copy it with 'boardproof restore', or name another", s.path))
	}
	if err := s.inTx(ctx, f); err != nil {
		return fmt.Errorf("%s: %w", doing, storeFault(s.path, err))
	}
	return nil
}

// inTx holds the store from before the first line of f: nobody else writes
// meanwhile. ctx ends the waiting; after it only f can be ended by it.
func (s *Store) inTx(ctx context.Context, f func(*sql.Tx) error) (err error) {
	conn, err := s.db.Conn(ctx)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, conn.Close()) }()
	touched, stop, err := watchRows(conn)
	if err != nil {
		return err
	}
	defer stop()
	tx, err := s.begin(ctx, conn)
	if err != nil {
		return err
	}
	err = s.unmoved()
	if err == nil {
		err = f(tx)
	}
	if err == nil {
		err = s.sealTouched(ctx, tx, touched)
	}
	if err == nil {
		err = s.unmoved()
	}
	if err != nil {
		// A context that ended has rolled back already.
		if undo := tx.Rollback(); undo != nil && !errors.Is(undo, sql.ErrTxDone) {
			return errors.Join(err, undo)
		}
		return err
	}
	return tx.Commit()
}

// begin waits until no other program writes.
func (s *Store) begin(ctx context.Context, conn *sql.Conn) (*sql.Tx, error) {
	for said := false; ; said = true {
		tx, err := conn.BeginTx(context.WithoutCancel(ctx), nil)
		if !isBusy(err) {
			return tx, err
		}
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if !said && s.Waiting != nil {
			s.Waiting()
		}
	}
}

// unmoved makes sure that what is written to is still what has the store's
// name: SQLite would go on writing to a file that was moved or deleted.
func (s *Store) unmoved() error {
	if s.file == nil {
		return nil
	}
	now, err := s.files.Stat(s.path)
	if err == nil && os.SameFile(now, s.file) {
		return nil
	}
	return ofKind(ErrNoStore, "the store %s was moved away, deleted or replaced while it was in use: put it back where it was", s.path)
}
