-- The uncertainty of a result that was told as a whole, in a file from before
-- the history, with its coverage factor; 0 where it was computed.
ALTER TABLE measurements ADD COLUMN told_expanded_uncertainty_ohms REAL NOT NULL DEFAULT 0;
ALTER TABLE measurements ADD COLUMN told_coverage_factor REAL NOT NULL DEFAULT 0;
