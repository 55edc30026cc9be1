package record

// Coil is one finished coil with all that was measured on it.
type Coil struct {
	Serial string `json:"serial"` // its serial number
	// Of the newest measurement that stands, or of the newest one when none does.
	Design string `json:"design"`
	Batch  string `json:"batch"` // of the same measurement
	// The newest first, withdrawn ones included, and light as in a list.
	Measurements []Measurement `json:"measurements"`
}

// CoilSearch picks coils; a zero field picks all.
type CoilSearch struct {
	// Beginning is what the serial number begins with.
	Beginning string
	// After is the serial number of the last coil of the page before.
	After string
	// Limit is how many at most; 0 means DefaultPage, more than MaxPage is
	// refused.
	Limit int
}
