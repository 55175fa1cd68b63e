-- +goose Up
PRAGMA application_id = 1651536486;

CREATE TABLE boards (
	id INTEGER PRIMARY KEY,
	label TEXT NOT NULL,
	label_key TEXT NOT NULL UNIQUE, -- label with its case folded
	owner TEXT NOT NULL,
	serial TEXT NOT NULL,
	outputs TEXT NOT NULL, -- JSON array
	notes TEXT NOT NULL,
	created TEXT NOT NULL
) STRICT;

CREATE TABLE devices (
	board_id INTEGER NOT NULL REFERENCES boards (id),
	position INTEGER NOT NULL,
	name TEXT NOT NULL,
	kind TEXT NOT NULL,
	supply_v REAL NOT NULL,
	supply_ma REAL NOT NULL,
	plug TEXT NOT NULL,
	PRIMARY KEY (board_id, position)
) STRICT;

CREATE TABLE benches (
	name_key TEXT PRIMARY KEY,
	name TEXT NOT NULL,
	kind TEXT NOT NULL,
	device TEXT NOT NULL,
	host TEXT NOT NULL,
	rate_hz INTEGER NOT NULL,
	output INTEGER NOT NULL,
	inputs TEXT NOT NULL -- JSON object, board output to input channel
) STRICT;

CREATE TABLE profiles (
	id TEXT PRIMARY KEY,
	bench_key TEXT NOT NULL,
	created TEXT NOT NULL,
	simulated INTEGER NOT NULL CHECK (simulated IN (0, 1)),
	body TEXT NOT NULL -- JSON of calibration.Profile
) STRICT;
CREATE INDEX profiles_by_bench ON profiles (bench_key, created, id);

CREATE TABLE plans (
	id INTEGER PRIMARY KEY,
	board_id INTEGER NOT NULL REFERENCES boards (id),
	version INTEGER NOT NULL,
	text TEXT NOT NULL,
	created TEXT NOT NULL,
	UNIQUE (board_id, version)
) STRICT;

-- A run's row is written last and closes the run: the rows below refer to it
-- before it is there, and can be added no more once it is.
CREATE TABLE runs (
	id TEXT PRIMARY KEY,
	board_id INTEGER NOT NULL REFERENCES boards (id),
	board_as_was TEXT NOT NULL, -- JSON of the board when the run was kept
	bench TEXT NOT NULL,
	profile_id TEXT REFERENCES profiles (id),
	plan_id INTEGER REFERENCES plans (id),
	simulated INTEGER NOT NULL CHECK (simulated IN (0, 1)),
	operator TEXT NOT NULL,
	started TEXT NOT NULL,
	finished TEXT NOT NULL,
	method_version TEXT NOT NULL,
	corrects TEXT REFERENCES runs (id),
	verdict TEXT NOT NULL,
	notes TEXT NOT NULL
) STRICT;
CREATE INDEX runs_by_board ON runs (board_id, id);

CREATE TABLE readings (
	run_id TEXT NOT NULL REFERENCES runs (id) DEFERRABLE INITIALLY DEFERRED,
	position INTEGER NOT NULL,
	step TEXT NOT NULL,
	state TEXT NOT NULL,
	quantity TEXT NOT NULL,
	output TEXT NOT NULL,
	reference TEXT NOT NULL,
	frequency_hz REAL,
	harmonic INTEGER,
	weighting TEXT NOT NULL,
	value REAL, -- null: not measured, the note says why
	unit TEXT NOT NULL,
	uncertainty REAL,
	k REAL,
	upper_bound INTEGER NOT NULL CHECK (upper_bound IN (0, 1)),
	lower_bound INTEGER NOT NULL CHECK (lower_bound IN (0, 1)),
	floor_limited INTEGER NOT NULL CHECK (floor_limited IN (0, 1)),
	limit_min REAL,
	limit_max REAL,
	verdict TEXT NOT NULL,
	note TEXT NOT NULL,
	method_version TEXT NOT NULL,
	PRIMARY KEY (run_id, position)
) STRICT;

CREATE TABLE curves (
	run_id TEXT NOT NULL REFERENCES runs (id) DEFERRABLE INITIALLY DEFERRED,
	position INTEGER NOT NULL,
	quantity TEXT NOT NULL,
	output TEXT NOT NULL,
	body TEXT NOT NULL, -- JSON of analysis.Curve
	PRIMARY KEY (run_id, position)
) STRICT;

CREATE TABLE refusals (
	run_id TEXT NOT NULL REFERENCES runs (id) DEFERRABLE INITIALLY DEFERRED,
	position INTEGER NOT NULL,
	quantity TEXT NOT NULL,
	output TEXT NOT NULL,
	reference TEXT NOT NULL,
	state TEXT NOT NULL,
	reason TEXT NOT NULL,
	PRIMARY KEY (run_id, position)
) STRICT;

CREATE TABLE takes (
	run_id TEXT NOT NULL REFERENCES runs (id) DEFERRABLE INITIALLY DEFERRED,
	position INTEGER NOT NULL,
	sha256 TEXT NOT NULL CHECK (length(sha256) = 64),
	step TEXT NOT NULL,
	attempt INTEGER NOT NULL,
	body TEXT NOT NULL, -- JSON of the take, without its samples
	PRIMARY KEY (run_id, position)
) STRICT;

-- What is kept is never changed. INSERT OR REPLACE deletes without a delete
-- trigger, so replacing is refused on its own.
-- +goose StatementBegin
CREATE TRIGGER profiles_no_update BEFORE UPDATE ON profiles
BEGIN
	SELECT RAISE(ABORT, 'a profile is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER profiles_no_delete BEFORE DELETE ON profiles
BEGIN
	SELECT RAISE(ABORT, 'a profile is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER profiles_no_replace BEFORE INSERT ON profiles
WHEN EXISTS (SELECT 1 FROM profiles WHERE id = NEW.id)
BEGIN
	SELECT RAISE(ABORT, 'a profile is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER plans_no_update BEFORE UPDATE ON plans
BEGIN
	SELECT RAISE(ABORT, 'a plan version is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER plans_no_delete BEFORE DELETE ON plans
BEGIN
	SELECT RAISE(ABORT, 'a plan version is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER plans_no_replace BEFORE INSERT ON plans
WHEN EXISTS (SELECT 1 FROM plans WHERE id = NEW.id OR (board_id = NEW.board_id AND version = NEW.version))
BEGIN
	SELECT RAISE(ABORT, 'a plan version is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER runs_no_update BEFORE UPDATE ON runs
BEGIN
	SELECT RAISE(ABORT, 'a finished run is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER runs_no_delete BEFORE DELETE ON runs
BEGIN
	SELECT RAISE(ABORT, 'a finished run is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER runs_no_replace BEFORE INSERT ON runs
WHEN EXISTS (SELECT 1 FROM runs WHERE id = NEW.id)
BEGIN
	SELECT RAISE(ABORT, 'a finished run is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER readings_no_update BEFORE UPDATE ON readings
BEGIN
	SELECT RAISE(ABORT, 'a finished run is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER readings_no_delete BEFORE DELETE ON readings
BEGIN
	SELECT RAISE(ABORT, 'a finished run is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER readings_no_replace BEFORE INSERT ON readings
WHEN EXISTS (SELECT 1 FROM runs WHERE id = NEW.run_id)
BEGIN
	SELECT RAISE(ABORT, 'a finished run is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER curves_no_update BEFORE UPDATE ON curves
BEGIN
	SELECT RAISE(ABORT, 'a finished run is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER curves_no_delete BEFORE DELETE ON curves
BEGIN
	SELECT RAISE(ABORT, 'a finished run is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER curves_no_replace BEFORE INSERT ON curves
WHEN EXISTS (SELECT 1 FROM runs WHERE id = NEW.run_id)
BEGIN
	SELECT RAISE(ABORT, 'a finished run is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER refusals_no_update BEFORE UPDATE ON refusals
BEGIN
	SELECT RAISE(ABORT, 'a finished run is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER refusals_no_delete BEFORE DELETE ON refusals
BEGIN
	SELECT RAISE(ABORT, 'a finished run is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER refusals_no_replace BEFORE INSERT ON refusals
WHEN EXISTS (SELECT 1 FROM runs WHERE id = NEW.run_id)
BEGIN
	SELECT RAISE(ABORT, 'a finished run is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER takes_no_update BEFORE UPDATE ON takes
BEGIN
	SELECT RAISE(ABORT, 'a finished run is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER takes_no_delete BEFORE DELETE ON takes
BEGIN
	SELECT RAISE(ABORT, 'a finished run is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER takes_no_replace BEFORE INSERT ON takes
WHEN EXISTS (SELECT 1 FROM runs WHERE id = NEW.run_id)
BEGIN
	SELECT RAISE(ABORT, 'a finished run is never changed');
END;
-- +goose StatementEnd
