-- Serial numbers are looked up without regard to capitals.
CREATE INDEX coils_without_case ON coils (serial COLLATE NOCASE);
