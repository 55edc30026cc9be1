package api

import (
	"context"
	"net/http"

	"coilkeep/internal/record"
)

// coils shows coils.
type coils struct{ kept CoilRecords }

// CoilRecords finds coils.
type CoilRecords interface {
	Coil(ctx context.Context, serial string) (record.Coil, error)
	Coils(ctx context.Context, search record.CoilSearch) (page []record.Coil, next string, err error)
}

func (c coils) endpoints() []Endpoint {
	return []Endpoint{
		endpoint("GET", "/api/v1/coils", http.StatusOK, c.list,
			About{ID: "listCoils", Tag: Coils, Summary: "Coils, in the order of their serial numbers",
				Description: "Each with its measurements, the newest first.",
				Says:        "One page."}),
		endpoint("GET", "/api/v1/coils/{serial}", http.StatusOK, c.show,
			About{ID: "showCoil", Tag: Coils, Summary: "A coil and all that was measured on it",
				Description: "Capitals of its serial number do not matter.",
				Says:        "The coil."}),
	}
}

// coilFilter picks coils.
type coilFilter struct {
	// What the serial number begins with; capitals do not matter.
	Serial string `query:"serial"`
	page
}

// CoilPage is coils, in the order of their serial numbers.
type CoilPage struct {
	Coils []record.Coil `json:"coils"` // by serial number
	// Give it as after to get the next page; empty on the last one.
	Next string `json:"next"`
}

func (c coils) list(ctx context.Context, request coilFilter) (CoilPage, error) {
	list, next, err := c.kept.Coils(ctx, record.CoilSearch{Beginning: request.Serial, After: request.After, Limit: request.Limit})
	return CoilPage{list, next}, err
}

// ofCoil is a request about one coil.
type ofCoil struct {
	// Its serial number.
	Serial string `path:"serial"`
}

func (c coils) show(ctx context.Context, request ofCoil) (record.Coil, error) {
	return c.kept.Coil(ctx, request.Serial)
}
