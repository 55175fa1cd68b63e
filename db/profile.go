package db

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"

	"boardproof/calibration"
)

// SaveProfile keeps p and returns it with its ID, which the store gives;
// where Created is not set it is now. A kept profile is never changed. The
// sittings that it came of end with it. The error may be ErrInvalid.
func (s *Store) SaveProfile(ctx context.Context, p calibration.Profile, sittings ...string) (calibration.Profile, error) {
	if fold(p.Bench) == "" {
		return calibration.Profile{}, ofKind(ErrInvalid, "the profile cannot be kept: it names no bench")
	}
	if p.Created.IsZero() {
		p.Created = s.Now().UTC()
	}
	err := s.write(ctx, fmt.Sprintf("keeping the profile of bench %q", p.Bench), func(tx *sql.Tx) error {
		id, err := nextID(ctx, tx, "p", s.Now(), sqlLastProfileOfDay)
		if err != nil {
			return err
		}
		p.ID = id
		body, err := json.Marshal(p)
		if err != nil {
			return ofKind(ErrInvalid, "a figure of the profile is not a number (%v): calibrate again", err)
		}
		digest, err := profileDigest(string(body))
		if err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, sqlAddProfile, p.ID, fold(p.Bench), timeText(p.Created), p.Simulated, string(body), digest, "")
		if err != nil {
			return err
		}
		return s.endSittings(ctx, tx, sittings, p.ID)
	})
	if err != nil {
		return calibration.Profile{}, err
	}
	return p, nil
}

// Profile returns the profile of an id. The error may be a *NotFoundError.
func (s *Store) Profile(ctx context.Context, id string) (calibration.Profile, error) {
	return s.oneProfile(ctx, id, sqlProfile, fold(id))
}

// LatestProfile returns the newest profile of a bench. The error may be a
// *NotFoundError: the bench was never calibrated.
func (s *Store) LatestProfile(ctx context.Context, bench string) (calibration.Profile, error) {
	return s.oneProfile(ctx, "of bench "+bench, sqlLatestProfile, fold(bench))
}

// Profiles lists the profiles of a bench, newest first.
func (s *Store) Profiles(ctx context.Context, bench string) ([]calibration.Profile, error) {
	profiles, err := collect(ctx, s.db, scanProfile, sqlProfiles, fold(bench))
	if err != nil {
		return nil, fmt.Errorf("listing the profiles of bench %q: %w", bench, storeFault(s.path, err))
	}
	return profiles, nil
}

func (s *Store) oneProfile(ctx context.Context, name, query string, key string) (calibration.Profile, error) {
	p, err := scanProfile(s.db.QueryRowContext(ctx, query, key))
	if errors.Is(err, sql.ErrNoRows) {
		return calibration.Profile{}, &NotFoundError{What: "profile", Name: name}
	}
	if err != nil {
		return calibration.Profile{}, fmt.Errorf("reading profile %q: %w", name, storeFault(s.path, err))
	}
	return p, nil
}

func scanProfile(row scanner) (p calibration.Profile, err error) {
	body, err := scanText(row)
	if err != nil {
		return p, err
	}
	if err := json.Unmarshal([]byte(body), &p); err != nil {
		return p, fmt.Errorf("reading a profile: %w", err)
	}
	return p, nil
}
