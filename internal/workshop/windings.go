package workshop

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"time"

	"coilkeep/internal/drift"
	"coilkeep/internal/record"
)

// everyBatch is more batches than there will be.
const everyBatch = 1_000_000

// Winding is the coils of one design that a winder wound.
type Winding struct {
	Winder, Design string
	// Coils counts those that have a measurement that stands.
	Batches, Coils int
	// Last is when the last of the batches was opened, LastBatch its name.
	Last      time.Time
	LastBatch string
}

// WindingStore is what [Windings] needs of a history.
type WindingStore interface {
	Batches(ctx context.Context, f record.BatchFilter) ([]record.Batch, error)
	WithdrawnCoils(ctx context.Context) (map[string]int, error)
}

// Windings lists what was wound on which winder, the latest first. Batches
// without a winder are left out.
func Windings(ctx context.Context, store WindingStore) ([]Winding, error) {
	batches, err := store.Batches(ctx, record.BatchFilter{Limit: everyBatch})
	if err != nil {
		return nil, err
	}
	withdrawn, err := store.WithdrawnCoils(ctx)
	if err != nil {
		return nil, err
	}
	found := map[[2]string]*Winding{}
	for _, b := range batches {
		if b.Winder == "" {
			continue
		}
		key := [2]string{b.Winder, b.Design}
		if found[key] == nil {
			found[key] = &Winding{Winder: b.Winder, Design: b.Design}
		}
		of := found[key]
		of.Batches++
		of.Coils += b.LastSequence - withdrawn[b.Name]
		if b.OpenedAt.After(of.Last) {
			of.Last, of.LastBatch = b.OpenedAt, b.Name
		}
	}
	var list []Winding
	for _, of := range found {
		list = append(list, *of)
	}
	slices.SortFunc(list, func(a, b Winding) int {
		return cmp.Or(b.Last.Compare(a.Last), cmp.Compare(a.Winder, b.Winder), cmp.Compare(a.Design, b.Design))
	})
	return list, nil
}

// SpoolBook is the spools a design was wound from.
type SpoolBook struct {
	Design string
	Spools []drift.SpoolEntry
	// Newest is how many coils were looked at, when there were earlier ones; 0
	// when all of them were.
	Newest int
}

// SpoolBookOf lists the spools of one design; of the design wound last when
// design is empty. Turns mean something within a design only, because bobbins
// differ. A design that was never wound has an empty book.
func SpoolBookOf(ctx context.Context, store DriftStore, design string, zone *time.Location) (SpoolBook, error) {
	if design == "" {
		last, err := store.Batches(ctx, record.BatchFilter{Limit: 1})
		if err != nil || len(last) == 0 {
			return SpoolBook{}, err
		}
		design = last[0].Design
	}
	coils, options, err := CoilsOfDesign(ctx, store, design, zone)
	if errors.Is(err, ErrNoCoils) {
		return SpoolBook{Design: design}, nil
	}
	if err != nil {
		return SpoolBook{}, err
	}
	d, err := analyseCoils(coils, options)
	if err != nil {
		return SpoolBook{}, err
	}
	book := SpoolBook{Design: design, Spools: d.Spools}
	if options.LeftOut {
		book.Newest = len(coils)
	}
	return book, nil
}
