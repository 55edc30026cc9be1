-- What the control limits of a design on a winder are made of. The newest of a
-- design's revision on a winder counts.
CREATE TABLE baselines (
	number                          INTEGER PRIMARY KEY,
	id                              TEXT NOT NULL UNIQUE CHECK (id <> ''),
	time_us                         INTEGER NOT NULL,
	winder                          TEXT NOT NULL,
	design                          TEXT NOT NULL,
	design_revision                 INTEGER NOT NULL,
	first_coil                      TEXT NOT NULL, -- serial numbers
	last_coil                       TEXT NOT NULL,
	count                           INTEGER NOT NULL CHECK (count >= 2),
	mean_ohms                       REAL NOT NULL CHECK (mean_ohms > 0),
	sigma_within_ohms               REAL NOT NULL CHECK (sigma_within_ohms > 0),
	sigma_overall_ohms              REAL NOT NULL CHECK (sigma_overall_ohms > 0),
	mean_range_ohms                 REAL NOT NULL CHECK (mean_range_ohms > 0),
	usual_standard_uncertainty_ohms REAL NOT NULL CHECK (usual_standard_uncertainty_ohms >= 0),
	reason                          TEXT NOT NULL,
	by                              TEXT NOT NULL,
	FOREIGN KEY (design, design_revision) REFERENCES designs (name, revision)
) STRICT;

CREATE INDEX baselines_by_winder ON baselines (winder, design, design_revision, time_us);

CREATE TRIGGER baselines_no_update BEFORE UPDATE ON baselines
BEGIN SELECT RAISE(ABORT, 'baselines are only added to'); END;

CREATE TRIGGER baselines_no_delete BEFORE DELETE ON baselines
BEGIN SELECT RAISE(ABORT, 'baselines are only added to'); END;

-- Coils measured over and over to judge the measuring. They are no measurements
-- of these coils: nothing here supersedes a record, and no R20 is kept, because
-- it follows from the rest.
CREATE TABLE study_readings (
	number              INTEGER PRIMARY KEY,
	id                  TEXT NOT NULL UNIQUE CHECK (id <> ''),
	time_us             INTEGER NOT NULL,
	bench               TEXT NOT NULL,
	study               TEXT NOT NULL,
	design              TEXT NOT NULL,
	design_revision     INTEGER NOT NULL,
	part                TEXT NOT NULL,
	operator            TEXT NOT NULL,
	resistance_ohms     REAL NOT NULL CHECK (resistance_ohms > 0),
	temperature_celsius REAL NOT NULL,
	alpha_per_kelvin    REAL NOT NULL CHECK (alpha_per_kelvin > 0),
	meter               TEXT NOT NULL,
	FOREIGN KEY (design, design_revision) REFERENCES designs (name, revision)
) STRICT;

CREATE INDEX study_readings_by_study ON study_readings (study, number);

CREATE TRIGGER study_readings_no_update BEFORE UPDATE ON study_readings
BEGIN SELECT RAISE(ABORT, 'study_readings are only added to'); END;

CREATE TRIGGER study_readings_no_delete BEFORE DELETE ON study_readings
BEGIN SELECT RAISE(ABORT, 'study_readings are only added to'); END;
