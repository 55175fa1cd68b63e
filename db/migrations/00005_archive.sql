-- +goose Up
-- What a board is in every store: given once, kept by archives.
ALTER TABLE boards ADD COLUMN uid TEXT NOT NULL DEFAULT '';
UPDATE boards SET uid = lower(hex(randomblob(16)));
CREATE UNIQUE INDEX boards_by_uid ON boards (uid);

-- What a run or a profile consists of, as one SHA-256: db.Digest. Empty for
-- those that were kept before there were digests.
ALTER TABLE runs ADD COLUMN digest TEXT NOT NULL DEFAULT '';
ALTER TABLE profiles ADD COLUMN digest TEXT NOT NULL DEFAULT '';
-- The run whose takes were read again to make this one.
ALTER TABLE runs ADD COLUMN recomputes TEXT REFERENCES runs (id);
-- The id that an imported run or profile had in the store that made it; empty
-- for those made here. A profile made elsewhere is never one of a bench here.
ALTER TABLE runs ADD COLUMN origin_id TEXT NOT NULL DEFAULT '';
ALTER TABLE profiles ADD COLUMN origin_id TEXT NOT NULL DEFAULT '';
CREATE INDEX runs_by_digest ON runs (digest);

-- Benches on which an imported board was measured elsewhere. They are no
-- benches of this store.
CREATE TABLE archived_benches (
	board_id INTEGER NOT NULL REFERENCES boards (id),
	body TEXT NOT NULL, -- JSON of db.Bench
	PRIMARY KEY (board_id, body)
) STRICT;

-- Take files that were thrown away on purpose.
CREATE TABLE tidied_takes (
	sha256 TEXT PRIMARY KEY CHECK (length(sha256) = 64),
	tidied TEXT NOT NULL -- when
) STRICT;

-- What other imported things were called in the store that made them.
CREATE TABLE origins (
	kind TEXT NOT NULL,
	id TEXT NOT NULL,
	origin_id TEXT NOT NULL,
	digest TEXT NOT NULL,
	PRIMARY KEY (kind, id)
) STRICT;
