-- Readings of somebody else set against the record of a coil, or against a
-- resistance that was typed in: then there is no measurement and no serial.
CREATE TABLE comparisons (
	number      INTEGER PRIMARY KEY,
	id          TEXT NOT NULL UNIQUE CHECK (id <> ''),
	time_us     INTEGER NOT NULL,
	serial      TEXT NOT NULL,
	measurement INTEGER REFERENCES measurements (number),
	their_meter TEXT NOT NULL,
	letter      TEXT NOT NULL,
	note        TEXT NOT NULL,
	by          TEXT NOT NULL,
	formula     INTEGER NOT NULL CHECK (formula >= 1),
	input       TEXT NOT NULL, -- JSON
	result      TEXT NOT NULL, -- JSON
	CHECK ((measurement IS NULL) = (serial = ''))
) STRICT;

CREATE INDEX comparisons_by_serial ON comparisons (serial, time_us);
CREATE INDEX comparisons_by_time ON comparisons (time_us);

CREATE TRIGGER comparisons_no_update BEFORE UPDATE ON comparisons
BEGIN SELECT RAISE(ABORT, 'comparisons are only added to'); END;

CREATE TRIGGER comparisons_no_delete BEFORE DELETE ON comparisons
BEGIN SELECT RAISE(ABORT, 'comparisons are only added to'); END;
