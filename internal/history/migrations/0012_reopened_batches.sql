-- A batch that was closed by mistake can be opened again; when it was closed is
-- never changed, and the journal tells of both.
DROP TRIGGER batches_only_close;

CREATE TRIGGER batches_only_close BEFORE UPDATE ON batches
WHEN (OLD.closed_us IS NULL) = (NEW.closed_us IS NULL)
	OR OLD.name <> NEW.name OR OLD.bench <> NEW.bench OR OLD.design <> NEW.design
	OR OLD.design_revision <> NEW.design_revision OR OLD.winder <> NEW.winder
	OR OLD.operator <> NEW.operator OR OLD.opened_us <> NEW.opened_us
BEGIN SELECT RAISE(ABORT, 'a batch can only be closed, and opened again'); END;
