-- +goose Up
-- What a row consists of, with all rows below it, as one SHA-256: db.rowSeal.
-- Written with whatever is written, so that what is changed past boardproof
-- is found.
CREATE TABLE seals (
	table_name TEXT NOT NULL,
	row_key TEXT NOT NULL, -- the row's primary key
	digest TEXT NOT NULL,
	PRIMARY KEY (table_name, row_key)
) STRICT;

-- A sitting is an acceptance or a calibration in the making, and its entries
-- are what it came to so far, in order: each is written when it was made.
CREATE TABLE sittings (
	id TEXT PRIMARY KEY,
	kind TEXT NOT NULL, -- acceptance or calibration
	board_id INTEGER REFERENCES boards (id), -- null in a calibration
	bench TEXT NOT NULL,
	started TEXT NOT NULL,
	body TEXT NOT NULL, -- JSON: what it must meet again to be gone on with
	ended TEXT NOT NULL, -- when it was, empty while it can be gone on with
	result TEXT NOT NULL -- the run or profile that came of it, empty for none
) STRICT;
CREATE INDEX sittings_open ON sittings (id) WHERE ended = '';

CREATE TABLE sitting_entries (
	sitting_id TEXT NOT NULL REFERENCES sittings (id),
	position INTEGER NOT NULL,
	sha256 TEXT NOT NULL, -- of its take, empty where it is none
	body TEXT NOT NULL, -- JSON of db.SittingEntry
	PRIMARY KEY (sitting_id, position)
) STRICT;
