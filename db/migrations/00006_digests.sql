-- +goose Up
-- What an event, a hunt or a version of a plan consists of, as one SHA-256:
-- db.rowDigests. Empty only in rows of before, until db fills it in when it
-- opens the store: SQLite has no SHA-256. Once it is there nothing of the row
-- can be changed.
ALTER TABLE events ADD COLUMN digest TEXT NOT NULL DEFAULT '';
ALTER TABLE hunts ADD COLUMN digest TEXT NOT NULL DEFAULT '';
ALTER TABLE plans ADD COLUMN digest TEXT NOT NULL DEFAULT '';
CREATE INDEX events_undigested ON events (id) WHERE digest = '';
CREATE INDEX hunts_undigested ON hunts (id) WHERE digest = '';
CREATE INDEX plans_undigested ON plans (id) WHERE digest = '';

DROP TRIGGER events_no_update;
-- +goose StatementBegin
CREATE TRIGGER events_no_update BEFORE UPDATE ON events
WHEN OLD.digest <> '' OR (OLD.id, OLD.uid, OLD.board_id, OLD.kind, OLD.happened, OLD.kept, OLD.who, OLD.text, OLD.run_id, OLD.corrects, OLD.body)
	IS NOT (NEW.id, NEW.uid, NEW.board_id, NEW.kind, NEW.happened, NEW.kept, NEW.who, NEW.text, NEW.run_id, NEW.corrects, NEW.body)
BEGIN
	SELECT RAISE(ABORT, 'an event is never changed');
END;
-- +goose StatementEnd

DROP TRIGGER hunts_no_update;
-- +goose StatementBegin
CREATE TRIGGER hunts_no_update BEFORE UPDATE ON hunts
WHEN OLD.digest <> '' OR (OLD.id, OLD.board_id, OLD.board_as_was, OLD.name, OLD.search, OLD.bench, OLD.profile_id, OLD.simulated,
		OLD.unfinished, OLD.operator, OLD.started, OLD.finished, OLD.method_version, OLD.setup, OLD.finding, OLD.notes)
	IS NOT (NEW.id, NEW.board_id, NEW.board_as_was, NEW.name, NEW.search, NEW.bench, NEW.profile_id, NEW.simulated,
		NEW.unfinished, NEW.operator, NEW.started, NEW.finished, NEW.method_version, NEW.setup, NEW.finding, NEW.notes)
BEGIN
	SELECT RAISE(ABORT, 'a hunt that was kept is never changed');
END;
-- +goose StatementEnd

DROP TRIGGER plans_no_update;
-- +goose StatementBegin
CREATE TRIGGER plans_no_update BEFORE UPDATE ON plans
WHEN OLD.digest <> '' OR (OLD.id, OLD.board_id, OLD.version, OLD.text, OLD.created)
	IS NOT (NEW.id, NEW.board_id, NEW.version, NEW.text, NEW.created)
BEGIN
	SELECT RAISE(ABORT, 'a plan version is never changed');
END;
-- +goose StatementEnd
