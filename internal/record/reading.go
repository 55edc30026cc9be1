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
	Time       time.Time `json:"time"`              // when it arrived
	Role       Role      `json:"role"`              // which instrument of the bench
	Value      float64   `json:"value"`             // ohms or °C; 0 unless status is ok
	Resolution float64   `json:"resolution"`        // one step of its last digit; 0 when unknown
	Status     string    `json:"status"`            // ok, overload, unreadable or impossible
	Reason     string    `json:"reason,omitempty"`  // what is wrong
	Raw        string    `json:"raw"`               // as received
	InWindow   bool      `json:"in_window"`         // whether the result is made of it
	Outlier    bool      `json:"outlier,omitempty"` // whether it was left out of the mean
}
