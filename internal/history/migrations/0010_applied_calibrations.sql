-- The calibrations that were in force when a coil was measured, and so were
-- applied: '' where there was none, NULL where that was not kept, as in all
-- measurements from before this step. They name calibrations by id, which a part
-- of a history may lack.
ALTER TABLE measurements ADD COLUMN meter_calibration_id TEXT;
ALTER TABLE measurements ADD COLUMN probe_calibration_id TEXT;
