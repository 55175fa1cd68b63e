package db

// Every statement of the package. Parameters are numbered in the order of
// their first use, which SQLite and PostgreSQL read alike.
const (
	// SQLite only: looking at a file before it is opened as a store. The
	// migrations' own table is there a moment before the others.
	sqlCountTables = `SELECT count(*) FROM sqlite_master WHERE type = 'table'
		AND name <> 'goose_db_version' AND name NOT LIKE 'sqlite\_%' ESCAPE '\'`

	sqlAddBoard = `INSERT INTO boards (label, label_key, owner, serial, outputs, notes, created, uid, owner_key, serial_key)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10) RETURNING id`
	sqlAddDevice = `INSERT INTO devices (board_id, position, name, kind, supply_v, supply_ma, plug)
		VALUES ($1, $2, $3, $4, $5, $6, $7)`
	sqlBoardColumns = `SELECT id, label, owner, serial, outputs, notes, created, uid FROM boards`
	sqlBoardByID    = sqlBoardColumns + ` WHERE id = $1`
	sqlBoardByKey   = sqlBoardColumns + ` WHERE label_key = $1`
	sqlBoards       = sqlBoardColumns + ` ORDER BY label_key`
	sqlDevices      = `SELECT name, kind, supply_v, supply_ma, plug FROM devices WHERE board_id = $1 ORDER BY position`
	sqlBoardsFrom   = `SELECT label, label_key FROM boards WHERE label_key >= $1 AND label_key < $2 ORDER BY label_key LIMIT $3`
	sqlBoardLabels  = `SELECT label, label_key FROM boards ORDER BY label_key`

	sqlSetBench = `INSERT INTO benches (name_key, name, kind, device, host, rate_hz, output, inputs, mains_hz)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)
		ON CONFLICT (name_key) DO UPDATE SET name = excluded.name, kind = excluded.kind, device = excluded.device,
		host = excluded.host, rate_hz = excluded.rate_hz, output = excluded.output, inputs = excluded.inputs,
		mains_hz = excluded.mains_hz`
	sqlBenchColumns = `SELECT name, kind, device, host, rate_hz, output, inputs, mains_hz FROM benches`
	sqlBench        = sqlBenchColumns + ` WHERE name_key = $1`
	sqlBenches      = sqlBenchColumns + ` ORDER BY name_key`
	sqlBenchNames   = `SELECT name, name_key FROM benches ORDER BY name_key`

	sqlAddProfile = `INSERT INTO profiles (id, bench_key, created, simulated, body, digest, origin_id)
		VALUES ($1, $2, $3, $4, $5, $6, $7)`
	sqlProfile       = `SELECT body FROM profiles WHERE id = $1`
	sqlProfiles      = `SELECT body FROM profiles WHERE bench_key = $1 AND origin_id = '' ORDER BY created DESC, id DESC`
	sqlLatestProfile = sqlProfiles + ` LIMIT 1`
	sqlProfileDigest = `SELECT digest FROM profiles WHERE id = $1`
	sqlProfileIsSim  = `SELECT simulated FROM profiles WHERE id = $1`

	sqlAddPlan     = `INSERT INTO plans (board_id, version, text, created, digest) VALUES ($1, $2, $3, $4, $5) RETURNING id`
	sqlPlanColumns = `SELECT id, board_id, version, text, created FROM plans`
	sqlPlan        = sqlPlanColumns + ` WHERE id = $1`
	sqlLatestPlan  = sqlPlanColumns + ` WHERE board_id = $1 ORDER BY version DESC LIMIT 1`

	// The newest of a day: an id of five digits comes after those of four.
	sqlLastRunOfDay     = `SELECT id FROM runs WHERE id >= $1 AND id < $2 ORDER BY length(id) DESC, id DESC LIMIT 1`
	sqlLastProfileOfDay = `SELECT id FROM profiles WHERE id >= $1 AND id < $2 ORDER BY length(id) DESC, id DESC LIMIT 1`

	sqlAddRun = `INSERT INTO runs (id, board_id, board_as_was, bench, profile_id, plan_id, simulated, operator,
		started, finished, method_version, corrects, verdict, notes, digest, recomputes, origin_id)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17)`
	sqlAddReading = `INSERT INTO readings (run_id, position, step, state, quantity, output, reference, frequency_hz,
		harmonic, weighting, value, unit, uncertainty, k, upper_bound, lower_bound, floor_limited, limit_min, limit_max,
		verdict, note, method_version, budget, chance_wrong)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, $22, $23, $24)`
	sqlAddCurve   = `INSERT INTO curves (run_id, position, quantity, output, body) VALUES ($1, $2, $3, $4, $5)`
	sqlAddRefusal = `INSERT INTO refusals (run_id, position, quantity, output, reference, state, reason)
		VALUES ($1, $2, $3, $4, $5, $6, $7)`
	sqlAddTake = `INSERT INTO takes (run_id, position, sha256, step, attempt, body) VALUES ($1, $2, $3, $4, $5, $6)`

	sqlRunColumns = `SELECT id, board_id, board_as_was, bench, profile_id, plan_id, simulated, operator,
		started, finished, method_version, corrects, verdict, notes, digest, recomputes, origin_id FROM runs`
	sqlRun         = sqlRunColumns + ` WHERE id = $1`
	sqlRunsOfBoard = sqlRunColumns + ` WHERE board_id = $1 ORDER BY length(id), id`
	sqlRunsFrom    = `SELECT id FROM runs WHERE id >= $1 AND id < $2 ORDER BY id LIMIT $3`
	sqlRunBoard    = `SELECT board_id FROM runs WHERE id = $1`
	sqlReadings    = `SELECT step, state, quantity, output, reference, frequency_hz, harmonic, weighting, value, unit,
		uncertainty, k, upper_bound, lower_bound, floor_limited, limit_min, limit_max, verdict, note,
		budget, chance_wrong FROM readings WHERE run_id = $1 ORDER BY position`
	sqlCurves   = `SELECT body FROM curves WHERE run_id = $1 ORDER BY position`
	sqlRefusals = `SELECT quantity, output, reference, state, reason FROM refusals WHERE run_id = $1 ORDER BY position`
	sqlTakes    = `SELECT body FROM takes WHERE run_id = $1 ORDER BY position`

	sqlLastHuntOfDay = `SELECT id FROM hunts WHERE id >= $1 AND id < $2 ORDER BY length(id) DESC, id DESC LIMIT 1`
	sqlAddHunt       = `INSERT INTO hunts (id, board_id, board_as_was, name, search, bench, profile_id, simulated, unfinished,
		operator, started, finished, method_version, setup, finding, notes, digest)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17)`
	sqlAddHuntCondition = `INSERT INTO hunt_conditions (hunt_id, position, change, subject, sha256, body)
		VALUES ($1, $2, $3, $4, $5, $6)`
	sqlHuntColumns = `SELECT id, board_id, board_as_was, name, search, bench, profile_id, simulated, unfinished,
		operator, started, finished, method_version, setup, finding, notes FROM hunts`
	sqlHunt           = sqlHuntColumns + ` WHERE id = $1`
	sqlHuntsOf        = sqlHuntColumns + ` WHERE $1 = 0 OR board_id = $1 ORDER BY substr(id, 1, 9), length(id), id`
	sqlHuntsFrom      = `SELECT id FROM hunts WHERE id >= $1 AND id < $2 ORDER BY length(id), id LIMIT $3`
	sqlHuntConditions = `SELECT body FROM hunt_conditions WHERE hunt_id = $1 ORDER BY position`

	sqlBoardByUID       = sqlBoardColumns + ` WHERE uid = $1`
	sqlArchivedBenches  = `SELECT body FROM archived_benches WHERE board_id = $1 ORDER BY body`
	sqlAddArchivedBench = `INSERT INTO archived_benches (board_id, body) VALUES ($1, $2) ON CONFLICT DO NOTHING`
	sqlKeptProfile      = `SELECT id, origin_id, body, digest FROM profiles WHERE id = $1`
	sqlProfileByDigest  = `SELECT id FROM profiles WHERE digest = $1 AND (origin_id = $2 OR origin_id = '' AND id = $2)`
	sqlPlansOfBoard     = sqlPlanColumns + ` WHERE board_id = $1 ORDER BY version`
	sqlRunsByOrigin     = sqlRunColumns + ` WHERE board_id = $1 AND (origin_id = $2 OR origin_id = '' AND id = $2)`
	sqlOrigin           = `SELECT origin_id FROM origins WHERE kind = $1 AND id = $2`
	sqlOriginHas        = `SELECT id FROM origins WHERE kind = $1 AND origin_id = $2 AND digest = $3`
	sqlAddOrigin        = `INSERT INTO origins (kind, id, origin_id, digest) VALUES ($1, $2, $3, $4)`

	// SQLite only: the whole store as another file, while it is in use.
	sqlCopyStore    = `VACUUM INTO $1`
	sqlIntegrity    = `PRAGMA integrity_check`
	sqlForeignKeys  = `SELECT "table" || ' row ' || coalesce(rowid, '?') || ' names a row of ' || parent || ' that is not there' FROM pragma_foreign_key_check`
	sqlAllRuns      = `SELECT id FROM runs ORDER BY length(id), id`
	sqlTidiedTakes  = `SELECT sha256 FROM tidied_takes`
	sqlAddTidied    = `INSERT INTO tidied_takes (sha256, tidied) VALUES ($1, $2) ON CONFLICT DO NOTHING`
	sqlTakesOfRuns  = `SELECT t.sha256, r.id, r.board_id, r.finished FROM takes t JOIN runs r ON r.id = t.run_id ORDER BY r.id, t.position`
	sqlTakesOfHunts = `SELECT c.sha256, h.id, h.board_id, h.finished FROM hunt_conditions c JOIN hunts h ON h.id = c.hunt_id ORDER BY h.id, c.position`
)

// Digests of rows: id, what people call it, digest, board, plan. Ids are text here.
const (
	sqlProfileDigests = `SELECT id, id, digest, '', '' FROM profiles WHERE $1 = 0 ORDER BY length(id), id`
	sqlRunDigests     = `SELECT r.id, r.id, r.digest, coalesce(b.label, ''), coalesce(CAST(r.plan_id AS TEXT), '') FROM runs r
		LEFT JOIN boards b ON b.id = r.board_id WHERE $1 = 0 ORDER BY length(r.id), r.id`
	sqlPlanDigests = `SELECT CAST(p.id AS TEXT), 'version ' || p.version, p.digest, coalesce(b.label, ''), '' FROM plans p
		LEFT JOIN boards b ON b.id = p.board_id WHERE $1 = 0 OR p.board_id = $1 ORDER BY p.id`
	sqlEventDigests = `SELECT e.id, e.id, e.digest, coalesce(b.label, ''), '' FROM events e
		LEFT JOIN boards b ON b.id = e.board_id WHERE $1 = 0 OR e.board_id = $1 ORDER BY length(e.id), e.id`
	sqlHuntDigests = `SELECT h.id, h.id, h.digest, coalesce(b.label, ''), '' FROM hunts h
		LEFT JOIN boards b ON b.id = h.board_id WHERE $1 = 0 OR h.board_id = $1 ORDER BY length(h.id), h.id`
	sqlUndigestedPlans  = `SELECT CAST(id AS TEXT) FROM plans WHERE digest = ''`
	sqlUndigestedEvents = `SELECT id FROM events WHERE digest = ''`
	sqlUndigestedHunts  = `SELECT id FROM hunts WHERE digest = ''`
	sqlSetPlanDigest    = `UPDATE plans SET digest = $1 WHERE id = $2`
	sqlSetEventDigest   = `UPDATE events SET digest = $1 WHERE id = $2`
	sqlSetHuntDigest    = `UPDATE hunts SET digest = $1 WHERE id = $2`
)

// Service, finding and trends.
const (
	sqlSetBoard = `UPDATE boards SET label = $1, label_key = $2, owner = $3, owner_key = $4, serial = $5, serial_key = $6,
		outputs = $7, notes = $8 WHERE id = $9`
	sqlSetDevicesKey  = `UPDATE boards SET devices_key = $1 WHERE id = $2`
	sqlDropDevices    = `DELETE FROM devices WHERE board_id = $1`
	sqlBoardsBySerial = sqlBoardColumns + ` WHERE serial_key = $1 ORDER BY label_key LIMIT $2`
	sqlSerialsFrom    = sqlBoardColumns + ` WHERE serial_key >= $1 AND serial_key < $2 ORDER BY serial_key LIMIT $3`

	sqlAddEvent = `INSERT INTO events (id, uid, board_id, kind, happened, kept, who, text, run_id, corrects, body, digest)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)`
	sqlEventColumns   = `SELECT id, uid, board_id, kind, happened, kept, who, text, run_id, corrects, body FROM events`
	sqlEventsOfBoard  = sqlEventColumns + ` WHERE board_id = $1 ORDER BY happened, kept, length(id), id`
	sqlEventByUID     = sqlEventColumns + ` WHERE uid = $1`
	sqlEvent          = sqlEventColumns + ` WHERE id = $1`
	sqlEventsFrom     = `SELECT id FROM events WHERE id >= $1 AND id < $2 ORDER BY length(id), id LIMIT $3`
	sqlLastEventOfDay = `SELECT id FROM events WHERE id >= $1 AND id < $2 ORDER BY length(id) DESC, id DESC LIMIT 1`

	// One pass: each board with its latest run, by an index.
	sqlFindBoards = `SELECT b.id, b.label, b.owner, b.serial, b.outputs, b.notes, b.created, b.uid,
		r.id, r.finished, r.verdict, r.simulated, r.bench FROM boards b
		LEFT JOIN runs r ON r.id = (SELECT l.id FROM runs l WHERE l.board_id = b.id AND l.recomputes IS NULL
			ORDER BY l.finished DESC, l.id DESC LIMIT 1)
		WHERE (b.label_key LIKE $1 ESCAPE '\' OR b.owner_key LIKE $1 ESCAPE '\' OR b.serial_key LIKE $1 ESCAPE '\')
		AND b.owner_key LIKE $2 ESCAPE '\' AND b.serial_key LIKE $3 ESCAPE '\' AND b.devices_key LIKE $4 ESCAPE '\'
		AND ($5 = '' OR r.finished >= $5) AND ($6 = '' OR r.finished < $6)
		ORDER BY b.label_key`

	sqlSeries = `SELECT r.id, r.board_id, b.label, r.bench, r.profile_id, r.simulated, r.started, r.method_version,
		g.step, g.state, g.quantity, g.output, g.reference, g.frequency_hz, g.harmonic, g.weighting, g.value, g.unit,
		g.uncertainty, g.k, g.upper_bound, g.lower_bound, g.floor_limited, g.limit_min, g.limit_max, g.verdict, g.note,
		CASE WHEN $1 THEN g.budget ELSE '' END, g.chance_wrong
		FROM (SELECT * FROM runs WHERE recomputes IS NULL AND `
	sqlSeriesReadings = ` ORDER BY finished DESC, id DESC LIMIT $3) r
		JOIN boards b ON b.id = r.board_id JOIN readings g ON g.run_id = r.id
		WHERE g.quantity = $4 AND g.value IS NOT NULL AND ($5 = '' OR g.output = $5)
		ORDER BY r.finished, length(r.id), r.id, g.position`
	sqlSeriesOfBoard = sqlSeries + `board_id = $2` + sqlSeriesReadings
	sqlSeriesOfBench = sqlSeries + `bench = $2 AND origin_id = ''` + sqlSeriesReadings
)

// Seals. The catalogue is SQLite's own.
const (
	sqlSealable = `SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite\_%' ESCAPE '\' AND name <> 'seals' ORDER BY name`
	sqlColumns  = `SELECT name, dflt_value, pk FROM pragma_table_info($1) ORDER BY name`
	sqlPartOf   = `SELECT "table" FROM pragma_foreign_key_list($1) WHERE "from" = $2`
	sqlSeal     = `SELECT digest FROM seals WHERE table_name = $1 AND row_key = $2`
	sqlSetSeal  = `INSERT INTO seals (table_name, row_key, digest) VALUES ($1, $2, $3)
		ON CONFLICT (table_name, row_key) DO UPDATE SET digest = excluded.digest`
	sqlSealsOf           = `SELECT row_key, digest FROM seals WHERE table_name = $1 ORDER BY row_key`
	sqlSealedTables      = `SELECT DISTINCT table_name FROM seals ORDER BY table_name`
	sqlAppliedMigrations = `SELECT version_id FROM goose_db_version WHERE is_applied`
	// The file's own number says whether what was kept before seals has any.
	sqlSealVersion        = `PRAGMA user_version`
	sqlSetSealed          = `PRAGMA user_version = 1`
	sqlUnsealedMigrations = `SELECT count(*) FROM goose_db_version g
		WHERE NOT EXISTS (SELECT 1 FROM seals s WHERE s.table_name = 'goose_db_version' AND s.row_key = CAST(g.id AS TEXT))`
)

// Sittings.
const (
	// Those of an open sitting are as if it ended later than all.
	sqlTakesOfSittings = `SELECT e.sha256, s.id, coalesce(s.board_id, 0), '9999' FROM sitting_entries e
		JOIN sittings s ON s.id = e.sitting_id WHERE s.ended = '' AND e.sha256 <> '' ORDER BY s.id, e.position`
	sqlNamedTakes = `SELECT sha256 FROM takes UNION SELECT sha256 FROM hunt_conditions
		UNION SELECT e.sha256 FROM sitting_entries e JOIN sittings s ON s.id = e.sitting_id WHERE s.ended = ''`

	sqlLastSittingOfDay = `SELECT id FROM sittings WHERE id >= $1 AND id < $2 ORDER BY length(id) DESC, id DESC LIMIT 1`
	sqlAddSitting       = `INSERT INTO sittings (id, kind, board_id, bench, started, body, ended, result) VALUES ($1, $2, $3, $4, $5, $6, '', '')`
	sqlEndSitting       = `UPDATE sittings SET ended = $1, result = $2 WHERE id = $3 AND ended = ''`
	sqlSittingColumns   = `SELECT id, kind, coalesce(board_id, 0), bench, started, body FROM sittings`
	sqlOpenSittings     = sqlSittingColumns + ` WHERE ended = '' ORDER BY length(id), id`
	sqlAddEntry         = `INSERT INTO sitting_entries (sitting_id, position, sha256, body)
		SELECT $1, (SELECT count(*) FROM sitting_entries WHERE sitting_id = $1), $2, $3 FROM sittings WHERE id = $1 AND ended = ''`
	sqlEntries = `SELECT body FROM sitting_entries WHERE sitting_id = $1 ORDER BY position`
)
