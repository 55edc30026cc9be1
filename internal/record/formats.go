package record

// Formats of an export.
const (
	// CSV is a table of measurements for a spreadsheet (RFC 4180).
	CSV = "csv"
	// JSONL is JSON Lines with all that Import needs to restore the records.
	JSONL = "jsonl"
)
