package watch

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"time"

	"coilkeep/internal/drift"
	"coilkeep/internal/drift/records"
	"coilkeep/internal/history"
)

// everyBatch is more batches than there will be.
const everyBatch = 1_000_000

// Winding is the coils of one design that a winder wound.
type Winding struct {
	Winder, Design string
	Batches, Coils int
	// Last is when the last of the batches was opened.
	Last time.Time
}

// Windings lists what was wound on which winder, the latest first. Batches
// without a winder are left out.
func (w *Watcher) Windings(ctx context.Context) ([]Winding, error) {
	batches, err := w.store.Batches(ctx, history.BatchFilter{Limit: everyBatch})
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
		of.Coils += b.LastSequence
		if b.OpenedAt.After(of.Last) {
			of.Last = b.OpenedAt
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

// Book is the spools a design was wound from.
type Book struct {
	Design string
	Spools []drift.SpoolEntry
}

// SpoolBook lists the spools of every design that was wound, by design. Turns
// mean something within a design only, because bobbins differ.
func (w *Watcher) SpoolBook(ctx context.Context) ([]Book, error) {
	batches, err := w.store.Batches(ctx, history.BatchFilter{Limit: everyBatch})
	if err != nil {
		return nil, err
	}
	var designs []string
	for _, b := range batches {
		if !slices.Contains(designs, b.Design) {
			designs = append(designs, b.Design)
		}
	}
	slices.Sort(designs)
	var books []Book
	for _, design := range designs {
		coils, options, err := records.Design(ctx, w.store, design, w.zone)
		if errors.Is(err, records.ErrNothing) {
			continue
		}
		if err != nil {
			return nil, err
		}
		d, err := analyse(coils, options)
		if err != nil {
			return nil, err
		}
		if len(d.Spools) > 0 {
			books = append(books, Book{design, d.Spools})
		}
	}
	return books, nil
}
