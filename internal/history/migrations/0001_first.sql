-- Every table is append-only: a trigger at the end of this file forbids to
-- change or delete its rows. The one exception is the closing of a batch.
-- Times are whole microseconds since 1970, UTC (…_us). Text that was not told
-- is ''; a number that was not told is NULL.

CREATE TABLE designs (
	name                                  TEXT NOT NULL CHECK (name <> ''),
	revision                              INTEGER NOT NULL CHECK (revision >= 1),
	created_us                            INTEGER NOT NULL,
	target_ohms                           REAL NOT NULL,
	lower_ohms                            REAL NOT NULL CHECK (lower_ohms > 0),
	upper_ohms                            REAL NOT NULL CHECK (upper_ohms > lower_ohms),
	guard_factor                          REAL NOT NULL CHECK (guard_factor BETWEEN 0 AND 1),
	gauge_awg                             INTEGER NOT NULL,
	turns                                 INTEGER NOT NULL,
	bobbin_straight_mm                    REAL,
	bobbin_core_radius_mm                 REAL,
	bobbin_build_mm                       REAL,
	alpha_per_kelvin                      REAL NOT NULL,
	alpha_standard_uncertainty_per_kelvin REAL NOT NULL,
	time_constant_seconds                 REAL NOT NULL,
	note                                  TEXT NOT NULL,
	PRIMARY KEY (name, revision)
) STRICT, WITHOUT ROWID;

CREATE TABLE batches (
	name            TEXT NOT NULL PRIMARY KEY CHECK (name <> ''),
	bench           TEXT NOT NULL CHECK (bench <> ''),
	design          TEXT NOT NULL,
	design_revision INTEGER NOT NULL,
	winder          TEXT NOT NULL,
	operator        TEXT NOT NULL,
	opened_us       INTEGER NOT NULL,
	closed_us       INTEGER,
	FOREIGN KEY (design, design_revision) REFERENCES designs (name, revision)
) STRICT, WITHOUT ROWID;

CREATE UNIQUE INDEX one_open_batch_of_a_bench ON batches (bench) WHERE closed_us IS NULL;
CREATE INDEX batches_by_opening ON batches (opened_us);

CREATE TABLE batch_spools (
	batch         TEXT NOT NULL REFERENCES batches (name),
	position      INTEGER NOT NULL CHECK (position >= 1),
	from_sequence INTEGER NOT NULL CHECK (from_sequence >= 1),
	spool         TEXT NOT NULL,
	at_us         INTEGER NOT NULL,
	PRIMARY KEY (batch, position)
) STRICT, WITHOUT ROWID;

CREATE TABLE coils (
	serial TEXT NOT NULL PRIMARY KEY CHECK (serial <> '')
) STRICT, WITHOUT ROWID;

-- The next serial number is the highest of the longest texts that match.
CREATE INDEX coils_by_length ON coils (length(serial), serial);

CREATE TABLE measurements (
	number                               INTEGER PRIMARY KEY,
	id                                   TEXT NOT NULL UNIQUE CHECK (id <> ''),
	time_us                              INTEGER NOT NULL,
	bench                                TEXT NOT NULL,
	batch                                TEXT REFERENCES batches (name),
	sequence                             INTEGER NOT NULL CHECK (sequence >= 0),
	design                               TEXT NOT NULL,
	design_revision                      INTEGER NOT NULL,
	serial                               TEXT NOT NULL REFERENCES coils (serial),
	resistance_ohms                      REAL NOT NULL CHECK (resistance_ohms > 0),
	temperature_celsius                  REAL NOT NULL,
	r20_ohms                             REAL NOT NULL CHECK (r20_ohms > 0),
	expanded_uncertainty_ohms            REAL NOT NULL CHECK (expanded_uncertainty_ohms >= 0),
	coverage_factor                      REAL NOT NULL CHECK (coverage_factor > 0),
	verdict                              TEXT NOT NULL CHECK (verdict IN ('in', 'high', 'low', 'undecided')),
	conformity_probability               REAL NOT NULL CHECK (conformity_probability BETWEEN 0 AND 1),
	status                               TEXT NOT NULL CHECK (status IN ('recorded', 'forced', 'manual')),
	reason                               TEXT NOT NULL,
	spool                                TEXT NOT NULL,
	winder                               TEXT NOT NULL,
	operator                             TEXT NOT NULL,
	meter                                TEXT NOT NULL,
	probe                                TEXT NOT NULL,
	stage                                TEXT NOT NULL CHECK (stage <> ''),
	alpha_per_kelvin                     REAL NOT NULL,
	formula                              INTEGER NOT NULL CHECK (formula >= 1),
	readings                             INTEGER NOT NULL CHECK (readings >= 1),
	standard_deviation_ohms              REAL NOT NULL,
	resolution_ohms                      REAL NOT NULL,
	drift_ohms                           REAL NOT NULL,
	meter_percent                        REAL NOT NULL,
	meter_ohms                           REAL NOT NULL,
	correction_ratio                     REAL NOT NULL,
	lead_ohms                            REAL NOT NULL,
	lead_half_width_ohms                 REAL NOT NULL,
	probe_half_width_kelvin              REAL NOT NULL,
	coil_difference_half_width_kelvin    REAL NOT NULL,
	alpha_standard_uncertainty_per_kelvin REAL NOT NULL,
	lower_ohms                           REAL NOT NULL,
	upper_ohms                           REAL NOT NULL,
	guard_factor                         REAL NOT NULL,
	notes                                TEXT NOT NULL, -- JSON list, or ''
	supersedes                           TEXT NOT NULL,
	capture_seconds                      REAL NOT NULL,
	FOREIGN KEY (design, design_revision) REFERENCES designs (name, revision)
) STRICT;

-- Each ends in the implied row number, so pages in time order need no sorting.
CREATE INDEX measurements_by_time ON measurements (time_us);
CREATE INDEX measurements_by_bench ON measurements (bench, time_us);
CREATE INDEX measurements_by_design ON measurements (design, time_us);
CREATE INDEX measurements_by_design_and_bench ON measurements (design, bench, time_us);
CREATE INDEX measurements_by_batch ON measurements (batch, time_us);
CREATE INDEX measurements_by_sequence ON measurements (batch, sequence);
CREATE INDEX measurements_by_serial ON measurements (serial, time_us);

-- Settings are the same for thousands of captures: each text is kept once.
CREATE TABLE capture_settings (
	number INTEGER PRIMARY KEY,
	json   TEXT NOT NULL UNIQUE
) STRICT;

-- What a list of measurements does not show, apart so that lists stay fast.
CREATE TABLE measurement_details (
	measurement INTEGER PRIMARY KEY REFERENCES measurements (number),
	budget      TEXT NOT NULL, -- JSON list, or ''
	settings    INTEGER REFERENCES capture_settings (number),
	context     TEXT NOT NULL  -- JSON, or ''
) STRICT;

CREATE TABLE readings (
	measurement INTEGER NOT NULL REFERENCES measurements (number),
	position    INTEGER NOT NULL CHECK (position >= 0),
	time_us     INTEGER NOT NULL,
	is_probe    INTEGER NOT NULL CHECK (is_probe IN (0, 1)),
	value       REAL NOT NULL,
	resolution  REAL NOT NULL,
	status      TEXT NOT NULL,
	reason      TEXT NOT NULL,
	raw         TEXT NOT NULL,
	in_window   INTEGER NOT NULL CHECK (in_window IN (0, 1)),
	outlier     INTEGER NOT NULL CHECK (outlier IN (0, 1)),
	PRIMARY KEY (measurement, position)
) STRICT, WITHOUT ROWID;

-- A measurement without an annotation is live.
CREATE TABLE annotations (
	measurement   INTEGER PRIMARY KEY REFERENCES measurements (number),
	status        TEXT NOT NULL CHECK (status IN ('void', 'superseded')),
	time_us       INTEGER NOT NULL,
	reason        TEXT NOT NULL CHECK (reason <> ''),
	who           TEXT NOT NULL,
	superseded_by TEXT NOT NULL CHECK ((superseded_by <> '') = (status = 'superseded'))
) STRICT;

CREATE TABLE instruments (
	bench    TEXT NOT NULL,
	role     TEXT NOT NULL CHECK (role IN ('meter', 'probe')),
	identity TEXT NOT NULL CHECK (identity <> ''),
	first_us INTEGER NOT NULL,
	PRIMARY KEY (bench, role, identity)
) STRICT, WITHOUT ROWID;

CREATE TABLE calibrations (
	number           INTEGER PRIMARY KEY,
	id               TEXT NOT NULL UNIQUE CHECK (id <> ''),
	time_us          INTEGER NOT NULL,
	bench            TEXT NOT NULL,
	role             TEXT NOT NULL CHECK (role IN ('meter', 'probe')),
	instrument       TEXT NOT NULL,
	certificate      TEXT NOT NULL,
	due_us           INTEGER,
	correction_ratio REAL NOT NULL,
	note             TEXT NOT NULL,
	by               TEXT NOT NULL
) STRICT;

CREATE INDEX calibrations_by_bench ON calibrations (bench, role, time_us);

CREATE TABLE check_measurements (
	number              INTEGER PRIMARY KEY,
	id                  TEXT NOT NULL UNIQUE CHECK (id <> ''),
	time_us             INTEGER NOT NULL,
	bench               TEXT NOT NULL,
	standard            TEXT NOT NULL,
	nominal_ohms        REAL NOT NULL CHECK (nominal_ohms > 0),
	measured_ohms       REAL NOT NULL,
	temperature_celsius REAL,
	meter               TEXT NOT NULL,
	by                  TEXT NOT NULL,
	note                TEXT NOT NULL
) STRICT;

CREATE INDEX check_measurements_by_bench ON check_measurements (bench, time_us);

CREATE TABLE journal (
	number  INTEGER PRIMARY KEY,
	id      TEXT NOT NULL UNIQUE CHECK (id <> ''),
	time_us INTEGER NOT NULL,
	bench   TEXT NOT NULL,
	who     TEXT NOT NULL,
	action  TEXT NOT NULL CHECK (action <> ''),
	subject TEXT NOT NULL,
	detail  TEXT NOT NULL
) STRICT;

CREATE INDEX journal_by_time ON journal (time_us);
CREATE INDEX journal_by_subject ON journal (subject, time_us);

CREATE TABLE backups (
	number  INTEGER PRIMARY KEY,
	time_us INTEGER NOT NULL,
	path    TEXT NOT NULL
) STRICT;

CREATE TRIGGER designs_no_update BEFORE UPDATE ON designs
BEGIN SELECT RAISE(ABORT, 'designs are only added to'); END;

CREATE TRIGGER designs_no_delete BEFORE DELETE ON designs
BEGIN SELECT RAISE(ABORT, 'designs are only added to'); END;

CREATE TRIGGER batch_spools_no_update BEFORE UPDATE ON batch_spools
BEGIN SELECT RAISE(ABORT, 'batch_spools are only added to'); END;

CREATE TRIGGER batch_spools_no_delete BEFORE DELETE ON batch_spools
BEGIN SELECT RAISE(ABORT, 'batch_spools are only added to'); END;

CREATE TRIGGER coils_no_update BEFORE UPDATE ON coils
BEGIN SELECT RAISE(ABORT, 'coils are only added to'); END;

CREATE TRIGGER coils_no_delete BEFORE DELETE ON coils
BEGIN SELECT RAISE(ABORT, 'coils are only added to'); END;

CREATE TRIGGER measurements_no_update BEFORE UPDATE ON measurements
BEGIN SELECT RAISE(ABORT, 'measurements are only added to'); END;

CREATE TRIGGER measurements_no_delete BEFORE DELETE ON measurements
BEGIN SELECT RAISE(ABORT, 'measurements are only added to'); END;

CREATE TRIGGER capture_settings_no_update BEFORE UPDATE ON capture_settings
BEGIN SELECT RAISE(ABORT, 'capture_settings are only added to'); END;

CREATE TRIGGER capture_settings_no_delete BEFORE DELETE ON capture_settings
BEGIN SELECT RAISE(ABORT, 'capture_settings are only added to'); END;

CREATE TRIGGER measurement_details_no_update BEFORE UPDATE ON measurement_details
BEGIN SELECT RAISE(ABORT, 'measurement_details are only added to'); END;

CREATE TRIGGER measurement_details_no_delete BEFORE DELETE ON measurement_details
BEGIN SELECT RAISE(ABORT, 'measurement_details are only added to'); END;

CREATE TRIGGER readings_no_update BEFORE UPDATE ON readings
BEGIN SELECT RAISE(ABORT, 'readings are only added to'); END;

CREATE TRIGGER readings_no_delete BEFORE DELETE ON readings
BEGIN SELECT RAISE(ABORT, 'readings are only added to'); END;

CREATE TRIGGER annotations_no_update BEFORE UPDATE ON annotations
BEGIN SELECT RAISE(ABORT, 'annotations are only added to'); END;

CREATE TRIGGER annotations_no_delete BEFORE DELETE ON annotations
BEGIN SELECT RAISE(ABORT, 'annotations are only added to'); END;

CREATE TRIGGER instruments_no_update BEFORE UPDATE ON instruments
BEGIN SELECT RAISE(ABORT, 'instruments are only added to'); END;

CREATE TRIGGER instruments_no_delete BEFORE DELETE ON instruments
BEGIN SELECT RAISE(ABORT, 'instruments are only added to'); END;

CREATE TRIGGER calibrations_no_update BEFORE UPDATE ON calibrations
BEGIN SELECT RAISE(ABORT, 'calibrations are only added to'); END;

CREATE TRIGGER calibrations_no_delete BEFORE DELETE ON calibrations
BEGIN SELECT RAISE(ABORT, 'calibrations are only added to'); END;

CREATE TRIGGER check_measurements_no_update BEFORE UPDATE ON check_measurements
BEGIN SELECT RAISE(ABORT, 'check_measurements are only added to'); END;

CREATE TRIGGER check_measurements_no_delete BEFORE DELETE ON check_measurements
BEGIN SELECT RAISE(ABORT, 'check_measurements are only added to'); END;

CREATE TRIGGER journal_no_update BEFORE UPDATE ON journal
BEGIN SELECT RAISE(ABORT, 'journal are only added to'); END;

CREATE TRIGGER journal_no_delete BEFORE DELETE ON journal
BEGIN SELECT RAISE(ABORT, 'journal are only added to'); END;

CREATE TRIGGER backups_no_update BEFORE UPDATE ON backups
BEGIN SELECT RAISE(ABORT, 'backups are only added to'); END;

CREATE TRIGGER backups_no_delete BEFORE DELETE ON backups
BEGIN SELECT RAISE(ABORT, 'backups are only added to'); END;

CREATE TRIGGER batches_no_delete BEFORE DELETE ON batches
BEGIN SELECT RAISE(ABORT, 'batches are only added to'); END;

CREATE TRIGGER batches_only_close BEFORE UPDATE ON batches
WHEN OLD.closed_us IS NOT NULL OR NEW.closed_us IS NULL
	OR OLD.name <> NEW.name OR OLD.bench <> NEW.bench OR OLD.design <> NEW.design
	OR OLD.design_revision <> NEW.design_revision OR OLD.winder <> NEW.winder
	OR OLD.operator <> NEW.operator OR OLD.opened_us <> NEW.opened_us
BEGIN SELECT RAISE(ABORT, 'a batch can only be closed, and once'); END;
