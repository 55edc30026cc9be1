package workshop

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/drift"
	"coilkeep/internal/record"
	"coilkeep/internal/statistics"
)

// mostWithinPercent bounds how far apart the coils of a pair may be wanted.
const mostWithinPercent = 50

// PairsRequest is what to pair.
type PairsRequest struct {
	// The batch whose coils in tolerance are paired.
	First string `query:"first"`
	// The batch they are paired with; without it with each other. A coil measured in
	// both counts where it was measured last.
	Second string `query:"second"`
	// How far apart the coils of a pair may be.
	WithinPercent float64 `query:"within_percent" openapi:"above=0,maximum=50,default=1,of=percent"`
}

// checked is the request without spaces around its names, and with no second batch
// where that is the first again. The error is a *record.FieldError.
func (r PairsRequest) checked() (PairsRequest, error) {
	r.First, r.Second = strings.TrimSpace(r.First), strings.TrimSpace(r.Second)
	if r.First == "" {
		return r, record.Invalid("first", "is missing: name the batch whose coils are to be paired")
	}
	if r.Second == r.First {
		r.Second = ""
	}
	if !(r.WithinPercent > 0 && r.WithinPercent <= mostWithinPercent) {
		return r, WrongWithinPercent(strconv.FormatFloat(r.WithinPercent, 'g', -1, 64))
	}
	return r, nil
}

// WrongWithinPercent is the *record.FieldError for a limit that cannot be used.
func WrongWithinPercent(told string) error {
	return record.Invalid("within_percent", "%q is not a number of percent above 0, up to %d", told, mostWithinPercent)
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
	// KnownRatio is how well the coils in the middle of the stock are known: their
	// expanded uncertainty over their R20. Pairs closer than that are equally good.
	KnownRatio float64 `json:"-"`
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

// EmptyStockError is the record.ErrConflict for a batch that has nothing to pair.
type EmptyStockError struct {
	// Field is where the batch was named: first or second.
	Field, Batch string
}

func (e *EmptyStockError) Error() string {
	return fmt.Sprintf("batch %s has no single coil in tolerance, so that there is nothing to pair", e.Batch)
}

// Is makes errors.Is(err, record.ErrConflict) true.
func (e *EmptyStockError) Is(target error) bool { return target == record.ErrConflict }

// PairsStore is what pick lists are made from.
type PairsStore interface {
	Batch(ctx context.Context, name string) (record.Batch, error)
	DesignRevision(ctx context.Context, name string, revision int) (record.Design, error)
	Measurements(ctx context.Context, f record.Filter) (page []record.Measurement, next string, err error)
	// Assembled says which of the serial numbers are part of an assembly.
	Assembled(ctx context.Context, serials []string) (map[string]bool, error)
}

// PickPairs makes the pick list: of the coils in tolerance that are not half of a
// pair already as many pairs as are within the limit, and among those the closest.
// The error is a *record.FieldError for what was asked, or a *EmptyStockError.
func PickPairs(ctx context.Context, store PairsStore, r PairsRequest) (PickList, error) {
	r, err := r.checked()
	if err != nil {
		return PickList{}, err
	}
	first, err := findBatchCoils(ctx, store, "first", r.First)
	if err != nil {
		return PickList{}, err
	}
	p := picking{r20Ohms: map[string]float64{}}
	var found drift.PickList
	if r.Second == "" {
		var stock []drift.Stocked
		if stock, err = p.stock(first); err != nil {
			return PickList{}, err
		}
		found, err = drift.PairWithin(stock, r.WithinPercent/100)
	} else {
		var second batchCoils
		if second, err = findBatchCoils(ctx, store, "second", r.Second); err != nil {
			return PickList{}, err
		}
		found, err = p.across(first, second, r.WithinPercent/100)
	}
	if err != nil {
		return PickList{}, err
	}
	return p.list(r, found), nil
}

// picking is what becomes of the coils of a pick list.
type picking struct {
	r20Ohms                    map[string]float64 // of every coil in the stock, by serial number
	knownRatios                []float64          // expanded uncertainty over R20
	notInTolerance, inAssembly int
}

// across pairs the coils of two batches. A coil that was measured in both, at
// another stage, is one coil: it counts where it was measured last.
func (p *picking) across(first, second batchCoils, ratio float64) (drift.PickList, error) {
	first, second = first.without(second), second.without(first)
	a, err := p.stock(first)
	if err != nil {
		return drift.PickList{}, err
	}
	b, err := p.stock(second)
	if err != nil {
		return drift.PickList{}, err
	}
	return drift.PairAcross(a, b, ratio)
}

// stock lists the coils of a batch that are in tolerance, notes their resistances
// and counts the others.
func (p *picking) stock(from batchCoils) ([]drift.Stocked, error) {
	p.inAssembly += from.inAssembly
	var stock []drift.Stocked
	for _, m := range from.single {
		if m.Verdict != conformity.In {
			p.notInTolerance++
			continue
		}
		p.r20Ohms[m.Serial] = m.R20Ohms
		p.knownRatios = append(p.knownRatios, m.ExpandedUncertaintyOhms/m.R20Ohms)
		stock = append(stock, drift.Stocked{Serial: m.Serial, R20Ohms: m.R20Ohms, TargetOhms: from.targetOhms})
	}
	if len(stock) == 0 {
		return nil, &EmptyStockError{from.field, from.batch}
	}
	return stock, nil
}

// list is the answer to a request.
func (p *picking) list(r PairsRequest, found drift.PickList) PickList {
	list := PickList{FirstBatch: r.First, WithinPercent: r.WithinPercent, Pairs: []PickedPair{}, LeftOver: []LeftOverCoil{},
		NotInTolerance: p.notInTolerance, InAssembly: p.inAssembly, KnownRatio: statistics.Median(p.knownRatios)}
	if r.Second != "" {
		list.SecondBatch = &r.Second
	}
	for _, pair := range found.Pairs {
		list.Pairs = append(list.Pairs, PickedPair{pair, p.r20Ohms[pair.First], p.r20Ohms[pair.Second]})
	}
	for _, serial := range found.LeftOver {
		list.LeftOver = append(list.LeftOver, LeftOverCoil{serial, p.r20Ohms[serial]})
	}
	return list
}

// batchCoils is the coils of a batch that are not half of an assembly, each with
// its newest measurement that stands.
type batchCoils struct {
	// field is where the batch was named.
	field, batch string
	targetOhms   float64
	single       []record.Measurement
	// inAssembly is how many further coils are half of an assembly.
	inAssembly int
}

// without leaves out the coils that other measured later.
func (b batchCoils) without(other batchCoils) batchCoils {
	later := map[string]time.Time{}
	for _, m := range other.single {
		later[m.Serial] = m.Time
	}
	b.single = slices.DeleteFunc(slices.Clone(b.single), func(m record.Measurement) bool { return later[m.Serial].After(m.Time) })
	return b
}

func findBatchCoils(ctx context.Context, store PairsStore, field, name string) (batchCoils, error) {
	batch, err := store.Batch(ctx, name)
	if errors.Is(err, record.ErrNotFound) {
		return batchCoils{}, record.Invalid(field, "there is no batch %q", name)
	}
	if err != nil {
		return batchCoils{}, err
	}
	design, err := store.DesignRevision(ctx, batch.Design, batch.DesignRevision)
	if err != nil {
		return batchCoils{}, err
	}
	measured, next, err := store.Measurements(ctx, record.Filter{Batch: name, Limit: record.MaxPage})
	if err != nil {
		return batchCoils{}, err
	}
	if next != "" {
		return batchCoils{}, record.Invalid(field, "batch %s has more than %d measurements; pair smaller batches", name, record.MaxPage)
	}
	standing := StandingOfEach(measured)
	slices.Reverse(standing) // of coils that are alike the newest is paired first
	serials := make([]string, len(standing))
	for i, m := range standing {
		serials[i] = m.Serial
	}
	assembled, err := store.Assembled(ctx, serials)
	if err != nil {
		return batchCoils{}, err
	}
	single := slices.DeleteFunc(standing, func(m record.Measurement) bool { return assembled[m.Serial] })
	return batchCoils{field: field, batch: name, targetOhms: design.TargetOhms, single: single, inAssembly: len(assembled)}, nil
}
