package api

import (
	"context"
	"net/http"

	"coilkeep/internal/drift"
)

// pairs makes pick lists.
type pairs struct {
	pick func(ctx context.Context, asked PairsAsked) (PickList, error)
}

func (p pairs) endpoints() []Endpoint {
	return []Endpoint{
		endpoint("GET", "/api/v1/pairs", http.StatusOK, p.pick,
			About{ID: "listPairs", Tag: Coils,
				Summary:     "Which two coils go together: as many pairs as the stock allows, and among those the closest",
				Description: "Only single coils in tolerance are paired.",
				Says:        "The pick list. A batch without a coil in tolerance is answered with a conflict.", Needs: []string{"first"}}),
	}
}

// PairsAsked is what to pair.
type PairsAsked struct {
	// The batch whose coils in tolerance are paired.
	First string `query:"first"`
	// The batch they are paired with; without it with each other. A coil measured in
	// both counts where it was measured last.
	Second string `query:"second"`
	// How far apart the coils of a pair may be.
	WithinPercent float64 `query:"within_percent" openapi:"above=0,maximum=50,default=1,of=percent"`
}

// PickList is pairs of coils, and what is left over.
type PickList struct {
	FirstBatch string `json:"first_batch"` // where the first coil of each pair is
	// Where the second is; null when the coils of the first batch are paired with
	// each other.
	SecondBatch    *string        `json:"second_batch"`
	WithinPercent  float64        `json:"within_percent"`   // how far apart the coils of a pair may be
	Pairs          []PickedPair   `json:"pairs"`            // the pairs
	LeftOver       []LeftOverCoil `json:"left_over"`        // coils in tolerance without a pair
	NotInTolerance int            `json:"not_in_tolerance"` // how many further coils of the batches are not in tolerance, and not in the stock
	InAssembly     int            `json:"in_assembly"`      // how many further coils of the batches are half of an assembly already
}

// PickedPair is two coils that go together.
type PickedPair struct {
	drift.Pair
	FirstR20Ohms  float64 `json:"first_r20_ohms"`  // R20 of the first
	SecondR20Ohms float64 `json:"second_r20_ohms"` // R20 of the second
}

// LeftOverCoil is a coil that found no other.
type LeftOverCoil struct {
	Serial  string  `json:"serial"`   // serial number
	R20Ohms float64 `json:"r20_ohms"` // its R20
}
