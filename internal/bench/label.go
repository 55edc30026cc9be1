package bench

import (
	"cmp"
	"slices"

	"coilkeep/internal/record"
)

// Label is how measurements and calibrations name an instrument: what it says of
// itself, or else what it is called, in a form that can be kept; without a name,
// driver and port.
func (i Instrument) Label() string {
	return cmp.Or(record.Label(i.Identity), record.Label(i.Name), i.byPort())
}

// byPort is how one that says nothing of itself was named before it was called
// something: by driver and port. What was entered under that is about it still.
func (i Instrument) byPort() string {
	if i.Port == "" {
		return i.Driver
	}
	return record.Label(i.Driver + " at " + i.Port)
}

// Labels are all names under which something may have been entered about an
// instrument, its label first.
func (i Instrument) Labels() []string { return i.labelled(i.Label()) }

func (i Instrument) labelled(label string) []string {
	if i.Identity != "" {
		return []string{label}
	}
	return slices.Compact([]string{label, i.byPort()})
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

// LabelsOf is LabelOf with the other names of the instrument behind it.
func (s Snapshot) LabelsOf(i Instrument) []string { return i.labelled(s.LabelOf(i)) }
