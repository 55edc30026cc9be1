package bench

import (
	"cmp"

	"coilkeep/internal/record"
)

// Label is how measurements and calibrations name an instrument: its identity,
// or its driver and port, in a form that can be kept.
func (i Instrument) Label() string {
	if identity := record.Label(i.Identity); identity != "" {
		return identity
	}
	if i.Port != "" {
		return record.Label(i.Driver + " at " + i.Port)
	}
	return i.Driver
}

// LabelOf is how an instrument of the bench is called: its label or, while it has
// not answered since the program was started, that by which the last measurement
// knew it. What is shown and told of an instrument goes by this one.
func (s Snapshot) LabelOf(i Instrument) string {
	switch {
	case i.Identity != "" || i.LastAt != nil || s.Last == nil: // some never say who they are
		return i.Label()
	case i.Role == record.Meter:
		return cmp.Or(s.Last.Meter, i.Label())
	default:
		return cmp.Or(s.Last.Probe, i.Label())
	}
}
