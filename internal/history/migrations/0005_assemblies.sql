-- Two coils sold as one. The newest assembly that a serial number is in counts,
-- so that a mistake is mended by another. The number of the whole may have been
-- measured too, both coils in series.
CREATE TABLE assemblies (
	number  INTEGER PRIMARY KEY,
	id      TEXT NOT NULL UNIQUE CHECK (id <> ''),
	time_us INTEGER NOT NULL,
	serial  TEXT NOT NULL CHECK (serial <> ''),
	first   TEXT NOT NULL REFERENCES coils (serial),
	second  TEXT NOT NULL REFERENCES coils (serial),
	note    TEXT NOT NULL,
	by      TEXT NOT NULL,
	CHECK (serial <> first AND serial <> second AND first <> second)
) STRICT;

CREATE INDEX assemblies_by_serial ON assemblies (serial);
CREATE INDEX assemblies_by_first ON assemblies (first);
CREATE INDEX assemblies_by_second ON assemblies (second);

CREATE TRIGGER assemblies_no_update BEFORE UPDATE ON assemblies
BEGIN SELECT RAISE(ABORT, 'assemblies are only added to'); END;

CREATE TRIGGER assemblies_no_delete BEFORE DELETE ON assemblies
BEGIN SELECT RAISE(ABORT, 'assemblies are only added to'); END;
