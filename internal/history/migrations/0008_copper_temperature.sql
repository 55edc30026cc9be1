-- How much warmer than the probe the copper was estimated to be, how well that
-- is known, and what it was drawn from; 0 and empty where it was bounded only.
ALTER TABLE measurements ADD COLUMN copper_excess_kelvin REAL NOT NULL DEFAULT 0;
ALTER TABLE measurements ADD COLUMN copper_excess_uncertainty_kelvin REAL NOT NULL DEFAULT 0
	CHECK (copper_excess_uncertainty_kelvin >= 0);
ALTER TABLE measurements ADD COLUMN copper_excess_origin TEXT NOT NULL DEFAULT '';

-- What a design asks for, and what is known of its coils' cooling; 0 where
-- nothing is.
ALTER TABLE designs ADD COLUMN wanted_uncertainty_percent REAL NOT NULL DEFAULT 0;
ALTER TABLE designs ADD COLUMN time_constant_ratio REAL NOT NULL DEFAULT 0;
ALTER TABLE designs ADD COLUMN quick_share REAL NOT NULL DEFAULT 0;
ALTER TABLE designs ADD COLUMN quick_share_deviation REAL NOT NULL DEFAULT 0;

-- How coils left on the clips cooled. An error of the quick share of 0 means that
-- the curve does not tell it.
CREATE TABLE cooling_curves (
	number                      INTEGER PRIMARY KEY,
	id                          TEXT NOT NULL UNIQUE CHECK (id <> ''),
	time_us                     INTEGER NOT NULL,
	bench                       TEXT NOT NULL CHECK (bench <> ''),
	serial                      TEXT NOT NULL,
	design                      TEXT NOT NULL CHECK (design <> ''),
	time_constant_seconds       REAL NOT NULL CHECK (time_constant_seconds > 0),
	time_constant_error_seconds REAL NOT NULL CHECK (time_constant_error_seconds > 0),
	quick_share                 REAL NOT NULL CHECK (quick_share BETWEEN 0 AND 1),
	quick_share_error           REAL NOT NULL CHECK (quick_share_error >= 0),
	start_kelvin                REAL NOT NULL
) STRICT;

CREATE INDEX cooling_curves_by_design ON cooling_curves (design, time_us);

-- When a coil, or every coil of a batch, was put beside the probe.
CREATE TABLE soaks (
	number   INTEGER PRIMARY KEY,
	id       TEXT NOT NULL UNIQUE CHECK (id <> ''),
	time_us  INTEGER NOT NULL,
	bench    TEXT NOT NULL CHECK (bench <> ''),
	serial   TEXT NOT NULL,
	batch    TEXT NOT NULL,
	since_us INTEGER NOT NULL,
	who      TEXT NOT NULL,
	CHECK ((serial = '') <> (batch = '')),
	CHECK (since_us <= time_us)
) STRICT;

CREATE INDEX soaks_by_serial ON soaks (serial COLLATE NOCASE, time_us) WHERE serial <> '';
CREATE INDEX soaks_by_batch ON soaks (batch, time_us) WHERE batch <> '';

-- Coils that left the clips without a record, and, once, what became of that. The
-- serial number is empty when it was not known which coil it was; by_pattern is 1
-- when the bench's pattern gave it, and then no other coil is given it.
CREATE TABLE unrecorded (
	number     INTEGER PRIMARY KEY,
	id         TEXT NOT NULL UNIQUE CHECK (id <> ''),
	time_us    INTEGER NOT NULL,
	bench      TEXT NOT NULL CHECK (bench <> ''),
	serial     TEXT NOT NULL,
	stage      TEXT NOT NULL CHECK (stage <> ''),
	by_pattern INTEGER NOT NULL CHECK (by_pattern IN (0, 1)),
	refusal    TEXT NOT NULL CHECK (refusal <> ''),
	words      TEXT NOT NULL CHECK (words <> ''),
	ended_us   INTEGER,
	ended_how  TEXT CHECK (ended_how IN ('measured', 'dismissed')),
	ended_by   TEXT,
	CHECK ((ended_us IS NULL) = (ended_how IS NULL) AND (ended_us IS NULL) = (ended_by IS NULL))
) STRICT;

CREATE INDEX unrecorded_open ON unrecorded (bench, number) WHERE ended_us IS NULL;
CREATE INDEX unrecorded_by_serial ON unrecorded (serial COLLATE NOCASE);

CREATE TRIGGER cooling_curves_no_update BEFORE UPDATE ON cooling_curves
BEGIN SELECT RAISE(ABORT, 'cooling_curves are only added to'); END;

CREATE TRIGGER cooling_curves_no_delete BEFORE DELETE ON cooling_curves
BEGIN SELECT RAISE(ABORT, 'cooling_curves are only added to'); END;

CREATE TRIGGER soaks_no_update BEFORE UPDATE ON soaks
BEGIN SELECT RAISE(ABORT, 'soaks are only added to'); END;

CREATE TRIGGER soaks_no_delete BEFORE DELETE ON soaks
BEGIN SELECT RAISE(ABORT, 'soaks are only added to'); END;

CREATE TRIGGER unrecorded_no_delete BEFORE DELETE ON unrecorded
BEGIN SELECT RAISE(ABORT, 'unrecorded are only added to'); END;

CREATE TRIGGER unrecorded_only_end BEFORE UPDATE ON unrecorded
WHEN OLD.ended_us IS NOT NULL OR NEW.ended_us IS NULL
	OR OLD.number <> NEW.number OR OLD.id <> NEW.id OR OLD.time_us <> NEW.time_us OR OLD.bench <> NEW.bench
	OR OLD.serial <> NEW.serial OR OLD.stage <> NEW.stage OR OLD.by_pattern <> NEW.by_pattern
	OR OLD.refusal <> NEW.refusal OR OLD.words <> NEW.words
BEGIN SELECT RAISE(ABORT, 'what was not recorded can only be ended, and once'); END;
