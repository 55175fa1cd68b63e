package db

import (
	"context"
	"database/sql"
)

// AddBoards registers many boards in one transaction, as AddBoard does each,
// but for a label that is taken: then none is kept and the error is the
// database's. Created is as it is given.
func (s *Store) AddBoards(ctx context.Context, boards []Board) ([]Board, error) {
	kept := make([]Board, 0, len(boards))
	err := s.write(ctx, "registering boards", func(tx *sql.Tx) error {
		for _, b := range boards {
			if err := b.check(); err != nil {
				return err
			}
			b.UID = newUID()
			b, err := insertBoard(ctx, tx, b)
			if err != nil {
				return err
			}
			kept = append(kept, b)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return kept, nil
}

// SaveRuns keeps many runs in one transaction, as SaveRun does each: all of
// them or none. Each id is of the day on which its run was finished.
func (s *Store) SaveRuns(ctx context.Context, runs []Run) ([]Run, error) {
	kept := make([]Run, 0, len(runs))
	for _, r := range runs {
		r, err := s.ready(r)
		if err != nil {
			return nil, err
		}
		kept = append(kept, r)
	}
	err := s.write(ctx, "keeping runs", func(tx *sql.Tx) error {
		for i := range kept {
			if err := s.checkTakes(kept[i].Takes); err != nil {
				return err
			}
			if err := kept[i].keep(ctx, tx, kept[i].Finished); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return kept, nil
}
