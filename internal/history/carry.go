package history

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"reflect"

	"coilkeep/internal/record"
)

// carrier takes one kind of record out of a history and into another.
type carrier struct {
	kind string // type of its lines
	// export writes all records there are.
	export func(ctx context.Context, q querier, put func(line) error) error
	// take adds the record of a line that is not there yet, leaves one alone that
	// is the same, and refuses one that is not.
	take func(ctx context.Context, j *importer, l arrived) error
}

// carried are the kinds of record that an export has after the measurements, in
// this order.
var carried = []carrier{
	calibrations.carrier(),
	checks.carrier(),
	leadZeros.carrier(),
	assemblies.carrier(),
	{kind: "comparison", export: exportComparisons, take: takeComparison},
	baselines.carrier(),
	studyReadings.carrier(),
	coolingCurves.carrier(),
	soaks.carrier(),
	{kind: unrecorded.Name, export: unrecorded.export, take: takeUnrecorded},
	journal.carrier(),
}

// carriers are all kinds of record that an import knows, by their names.
var carriers = func() map[string]carrier {
	known := map[string]carrier{
		"design":      {take: takeDesign},
		"batch":       {take: takeBatch},
		"measurement": {take: takeMeasurement},
	}
	for _, c := range carried {
		known[c.kind] = c
	}
	return known
}()

func (k kind[T]) carrier() carrier { return carrier{kind: k.Name, export: k.export, take: k.take} }

func (k kind[T]) export(ctx context.Context, q querier, put func(line) error) error {
	return k.exportPicked(ctx, q, put, "")
}

// exportPicked writes the records that a condition picks, in the order in which they
// were stored.
func (k kind[T]) exportPicked(ctx context.Context, q querier, put func(line) error, where string, args ...any) error {
	list, err := k.list(ctx, q, where+` ORDER BY number`, args...)
	if err != nil {
		return err
	}
	for _, r := range list {
		if err := put(line{kind: k.Name, record: r}); err != nil {
			return err
		}
	}
	return nil
}

func (k kind[T]) take(ctx context.Context, j *importer, l arrived) error {
	r, err := k.arrive(l)
	if err != nil {
		return err
	}
	if k.fits != nil {
		if err := k.fits(ctx, j.tx, &r); err != nil {
			return err
		}
	}
	id := *k.ID(&r)
	return add(j, k.One+" "+id, r,
		func() (T, error) { return k.one(ctx, j.tx, id) },
		func() error { return k.insert(ctx, j.tx, r) },
		k.count(j.counts))
}

// arrive is the record of a line, such as it is kept.
func (k kind[T]) arrive(l arrived) (r T, err error) {
	if err := decodeOne(l.record, &r); err != nil {
		return r, err
	}
	return r, cmp.Or(record.ValidateName("id", *k.ID(&r)), k.ready(&r))
}

// add inserts a record that is not there yet, leaves one alone that is the
// same, and refuses one that is not.
func add[T any](j *importer, what string, given T, find func() (T, error), insert func() error, count *int) error {
	stored, err := find()
	switch {
	case errors.Is(err, record.ErrNotFound):
		*count++
		return insert()
	case err != nil:
		return err
	case !reflect.DeepEqual(given, stored):
		return fmt.Errorf("%s: %w: the history has another one of that name", what, record.ErrConflict)
	}
	j.counts.Known++
	return nil
}
