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

-- How coils left on the clips cooled.
CREATE TABLE cooling_curves (
	number                     INTEGER PRIMARY KEY,
	id                         TEXT NOT NULL UNIQUE CHECK (id <> ''),
	time_us                    INTEGER NOT NULL,
	bench                      TEXT NOT NULL,
	serial                     TEXT NOT NULL,
	design                     TEXT NOT NULL,
	time_constant_seconds      REAL NOT NULL CHECK (time_constant_seconds > 0),
	time_constant_error_seconds REAL NOT NULL CHECK (time_constant_error_seconds > 0),
	quick_share                REAL NOT NULL CHECK (quick_share BETWEEN 0 AND 1),
	quick_share_error          REAL NOT NULL CHECK (quick_share_error > 0),
	start_kelvin               REAL NOT NULL
) STRICT;

CREATE INDEX cooling_curves_by_design ON cooling_curves (design, time_us);

-- When a coil, or every coil of a batch, was put beside the probe.
CREATE TABLE soaks (
	number   INTEGER PRIMARY KEY,
	id       TEXT NOT NULL UNIQUE CHECK (id <> ''),
	time_us  INTEGER NOT NULL,
	bench    TEXT NOT NULL,
	serial   TEXT NOT NULL,
	batch    TEXT NOT NULL,
	since_us INTEGER NOT NULL,
	who      TEXT NOT NULL,
	CHECK ((serial = '') <> (batch = ''))
) STRICT;

CREATE INDEX soaks_by_serial ON soaks (serial COLLATE NOCASE, time_us);
CREATE INDEX soaks_by_batch ON soaks (batch, time_us);

-- Coils that left the clips without a record, and what became of that.
CREATE TABLE unrecorded (
	number  INTEGER PRIMARY KEY,
	id      TEXT NOT NULL UNIQUE CHECK (id <> ''),
	time_us INTEGER NOT NULL,
	bench   TEXT NOT NULL,
	serial  TEXT NOT NULL,
	refusal TEXT NOT NULL CHECK (refusal <> ''),
	words   TEXT NOT NULL
) STRICT;

CREATE INDEX unrecorded_by_bench ON unrecorded (bench, number);

CREATE TABLE unrecorded_ends (
	unrecorded INTEGER PRIMARY KEY REFERENCES unrecorded (number),
	time_us    INTEGER NOT NULL,
	how        TEXT NOT NULL CHECK (how IN ('measured', 'dismissed')),
	who        TEXT NOT NULL
) STRICT;
