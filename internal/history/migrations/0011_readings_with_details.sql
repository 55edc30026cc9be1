-- The readings of a measurement as one JSON list, '' without any; readings.go says
-- what stands in it. NULL in measurements from before this step, whose readings are
-- rows of the table readings.
ALTER TABLE measurement_details ADD COLUMN readings TEXT;
