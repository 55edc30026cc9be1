package record

import (
	"cmp"
	"time"
)

// Assembly is two coils sold as one. Its parts keep their own records; its own
// serial number may have been measured too, both in series.
type Assembly struct {
	ID     string    `json:"id"`             // its id
	Time   time.Time `json:"time"`           // when it was kept
	Serial string    `json:"serial"`         // serial number of the two together
	First  string    `json:"first"`          // serial number of the first coil
	Second string    `json:"second"`         // serial number of the second coil
	Note   string    `json:"note,omitempty"` // anything else
	By     string    `json:"by,omitempty"`   // who assembled them
}

// ValidateAssembly says which field of an assembly cannot be right, as a
// *FieldError; nil when it may be stored.
func ValidateAssembly(a Assembly) error {
	for _, part := range []struct{ field, serial string }{{"first", a.First}, {"second", a.Second}} {
		if err := ValidateText(part.field, part.serial, 1, maxSerial); err != nil {
			return err
		}
		if part.serial == a.Serial {
			return WholeAsPart(part.field, a.Serial)
		}
	}
	if a.First == a.Second {
		return Invalid("second", "must not be the first coil again")
	}
	return cmp.Or(ValidateSerial(a.Serial), ValidateNote("note", a.Note), ValidateLabel("by", a.By))
}

// WholeAsPart is what to say of an assembly that has itself as a part.
func WholeAsPart(field, serial string) error {
	return Invalid(field, "must not be the number of the whole, %s", serial)
}

// Assemblies describes assemblies.
var Assemblies = Kind[Assembly]{
	Name: "assembly", One: "assembly", Many: "assemblies", Table: "assemblies",
	Fields: []Field[Assembly]{
		{Column: "id", Place: func(a *Assembly) any { return &a.ID }},
		{Column: "time_us", Place: func(a *Assembly) any { return &a.Time }},
		{Column: "serial", Place: func(a *Assembly) any { return &a.Serial }},
		{Column: "first", Place: func(a *Assembly) any { return &a.First }},
		{Column: "second", Place: func(a *Assembly) any { return &a.Second }},
		{Column: "note", Place: func(a *Assembly) any { return &a.Note }},
		{Column: "by", Place: func(a *Assembly) any { return &a.By }},
	},
	Check: ValidateAssembly,
}
