-- A budget says the same of every coil but for its numbers: its words are kept
-- once. Budgets from before this step stay whole in the column budget, without
-- budget_words.
CREATE TABLE budget_words (
	number INTEGER PRIMARY KEY,
	json   TEXT NOT NULL UNIQUE
) STRICT;

ALTER TABLE measurement_details ADD COLUMN budget_words INTEGER REFERENCES budget_words (number);

CREATE TRIGGER budget_words_no_update BEFORE UPDATE ON budget_words
BEGIN SELECT RAISE(ABORT, 'budget_words are only added to'); END;

CREATE TRIGGER budget_words_no_delete BEFORE DELETE ON budget_words
BEGIN SELECT RAISE(ABORT, 'budget_words are only added to'); END;
