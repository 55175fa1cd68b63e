-- +goose Up
-- A hunt's row is written last and closes it, as a run's does.
CREATE TABLE hunts (
	id TEXT PRIMARY KEY,
	board_id INTEGER NOT NULL REFERENCES boards (id),
	board_as_was TEXT NOT NULL, -- JSON of the board when the hunt was kept
	name TEXT NOT NULL,
	search TEXT NOT NULL, -- what takes a device out, in a search for one device; else empty
	bench TEXT NOT NULL, -- empty where it was recorded elsewhere
	profile_id TEXT REFERENCES profiles (id),
	simulated INTEGER NOT NULL CHECK (simulated IN (0, 1)),
	unfinished INTEGER NOT NULL CHECK (unfinished IN (0, 1)),
	operator TEXT NOT NULL,
	started TEXT NOT NULL,
	finished TEXT NOT NULL,
	method_version TEXT NOT NULL,
	setup TEXT NOT NULL, -- JSON of hunt.Board: what could be changed
	finding TEXT NOT NULL, -- JSON of hunt.Finding
	notes TEXT NOT NULL
) STRICT;
CREATE INDEX hunts_by_board ON hunts (board_id, id);

CREATE TABLE hunt_conditions (
	hunt_id TEXT NOT NULL REFERENCES hunts (id) DEFERRABLE INITIALLY DEFERRED,
	position INTEGER NOT NULL,
	change TEXT NOT NULL, -- empty: as found
	subject TEXT NOT NULL,
	sha256 TEXT NOT NULL CHECK (length(sha256) = 64), -- its take
	body TEXT NOT NULL, -- JSON of the condition with its readings and its take
	PRIMARY KEY (hunt_id, position)
) STRICT;

-- +goose StatementBegin
CREATE TRIGGER hunts_no_update BEFORE UPDATE ON hunts
BEGIN
	SELECT RAISE(ABORT, 'a hunt that was kept is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER hunts_no_delete BEFORE DELETE ON hunts
BEGIN
	SELECT RAISE(ABORT, 'a hunt that was kept is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER hunts_no_replace BEFORE INSERT ON hunts
WHEN EXISTS (SELECT 1 FROM hunts WHERE id = NEW.id)
BEGIN
	SELECT RAISE(ABORT, 'a hunt that was kept is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER hunt_conditions_no_update BEFORE UPDATE ON hunt_conditions
BEGIN
	SELECT RAISE(ABORT, 'a hunt that was kept is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER hunt_conditions_no_delete BEFORE DELETE ON hunt_conditions
BEGIN
	SELECT RAISE(ABORT, 'a hunt that was kept is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER hunt_conditions_no_replace BEFORE INSERT ON hunt_conditions
WHEN EXISTS (SELECT 1 FROM hunts WHERE id = NEW.hunt_id)
BEGIN
	SELECT RAISE(ABORT, 'a hunt that was kept is never changed');
END;
-- +goose StatementEnd
