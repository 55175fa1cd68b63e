-- +goose Up
-- What happened to a board: service, and changes of the board itself. An event
-- is never changed; one that is wrong is named by a later one.
CREATE TABLE events (
	id TEXT PRIMARY KEY,
	uid TEXT NOT NULL UNIQUE, -- the same in every store
	board_id INTEGER NOT NULL REFERENCES boards (id),
	kind TEXT NOT NULL,
	happened TEXT NOT NULL,
	kept TEXT NOT NULL, -- when it was written down
	who TEXT NOT NULL,
	text TEXT NOT NULL,
	run_id TEXT REFERENCES runs (id),
	corrects TEXT REFERENCES events (id),
	body TEXT NOT NULL -- JSON of db.EventDetail
) STRICT;
CREATE INDEX events_by_board ON events (board_id, happened, kept, id);

-- +goose StatementBegin
CREATE TRIGGER events_no_update BEFORE UPDATE ON events
BEGIN
	SELECT RAISE(ABORT, 'an event is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER events_no_delete BEFORE DELETE ON events
BEGIN
	SELECT RAISE(ABORT, 'an event is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER events_no_replace BEFORE INSERT ON events
WHEN EXISTS (SELECT 1 FROM events WHERE id = NEW.id OR uid = NEW.uid)
BEGIN
	SELECT RAISE(ABORT, 'an event is never changed');
END;
-- +goose StatementEnd

-- What boards are found by, with its case folded; db folds it. What is there
-- already is folded in ASCII only, until the board is edited.
ALTER TABLE boards ADD COLUMN owner_key TEXT NOT NULL DEFAULT '';
ALTER TABLE boards ADD COLUMN serial_key TEXT NOT NULL DEFAULT '';
ALTER TABLE boards ADD COLUMN devices_key TEXT NOT NULL DEFAULT ''; -- a line each, name and kind
UPDATE boards SET owner_key = lower(trim(owner)), serial_key = lower(trim(serial)), devices_key = coalesce(
	(SELECT group_concat(lower(d.name || ', ' || d.kind), char(10)) FROM devices d WHERE d.board_id = boards.id), '');
CREATE INDEX boards_by_serial ON boards (serial_key);

CREATE INDEX runs_by_finish ON runs (board_id, finished, id);
CREATE INDEX runs_by_bench ON runs (bench, finished, id);
