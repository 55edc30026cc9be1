CREATE TABLE lead_zeros (
	number          INTEGER PRIMARY KEY,
	id              TEXT NOT NULL UNIQUE CHECK (id <> ''),
	time_us         INTEGER NOT NULL,
	bench           TEXT NOT NULL,
	meter           TEXT NOT NULL,
	ohms            REAL NOT NULL,
	half_width_ohms REAL NOT NULL CHECK (half_width_ohms >= 0),
	readings        INTEGER NOT NULL CHECK (readings >= 1),
	by              TEXT NOT NULL
) STRICT;

CREATE INDEX lead_zeros_by_bench ON lead_zeros (bench, time_us);

CREATE TRIGGER lead_zeros_no_update BEFORE UPDATE ON lead_zeros
BEGIN SELECT RAISE(ABORT, 'lead_zeros are only added to'); END;

CREATE TRIGGER lead_zeros_no_delete BEFORE DELETE ON lead_zeros
BEGIN SELECT RAISE(ABORT, 'lead_zeros are only added to'); END;
