package record

import (
	"time"
)

// Role says which instrument of a bench a reading came from.
type Role string

const (
	Meter Role = "meter"
	Probe Role = "probe"
)

// Reading is one stored answer of an instrument, as the capture saw it.
type Reading struct {
	Time       time.Time `json:"time"`
	Role       Role      `json:"role"`
	Value      float64   `json:"value"` // ohms or degrees Celsius; 0 unless Status is ok
	Resolution float64   `json:"resolution"`
	Status     string    `json:"status"` // a driver.Status
	Reason     string    `json:"reason,omitempty"`
	Raw        string    `json:"raw"`
	// InWindow is true for the readings the result is made of.
	InWindow bool `json:"in_window"`
	// Outlier is true for a reading of the window left out of the mean.
	Outlier bool `json:"outlier,omitempty"`
}
