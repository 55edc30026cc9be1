package record

import (
	"time"
)

// Filter picks measurements; a zero field picks all.
type Filter struct {
	Batch, Design, Serial, Bench string
	// From is the earliest time, To the first one that is too late.
	From, To time.Time
	// After is the id of the last measurement of the page before.
	After string
	// Limit is how many at most; 0 means DefaultPage, more than MaxPage is
	// refused.
	Limit int
	// Newest turns the order round: latest first.
	Newest bool
}

// How many records one page holds.
const (
	DefaultPage = 100
	MaxPage     = 10000
)
