package history

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"fmt"
	"reflect"
	"strings"
	"time"

	"coilkeep/internal/record"
)

// kind is a kind of record as this history keeps it.
type kind[T any] struct {
	record.Kind[T]
	// fits refuses a record that others of the history contradict, and may spell
	// a name as they do; nil when nothing can.
	fits func(ctx context.Context, tx *transaction, r *T) error
	// count is where an import counts it.
	count func(*Imported) *int
}

var (
	calibrations  = kind[record.Calibration]{Kind: record.Calibrations, count: func(i *Imported) *int { return &i.Calibrations }}
	checks        = kind[record.CheckMeasurement]{Kind: record.Checks, count: func(i *Imported) *int { return &i.CheckMeasurements }}
	leadZeros     = kind[record.LeadZero]{Kind: record.LeadZeros, count: func(i *Imported) *int { return &i.LeadZeros }}
	assemblies    = kind[record.Assembly]{Kind: record.Assemblies, fits: checkAssembly, count: func(i *Imported) *int { return &i.Assemblies }}
	baselines     = kind[record.Baseline]{Kind: record.Baselines, fits: fitsBaseline, count: func(i *Imported) *int { return &i.Baselines }}
	studyReadings = kind[record.StudyReading]{Kind: record.StudyReadings, fits: fitsStudy,
		count: func(i *Imported) *int { return &i.StudyReadings }}
	coolingCurves = kind[record.CoolingCurve]{Kind: record.CoolingCurves, fits: fitsCurve,
		count: func(i *Imported) *int { return &i.CoolingCurves }}
	soaks        = kind[record.Soak]{Kind: record.Soaks, fits: fitsSoak, count: func(i *Imported) *int { return &i.Soaks }}
	unrecorded   = kind[record.Unrecorded]{Kind: record.UnrecordedCoils, count: func(i *Imported) *int { return &i.Unrecorded }}
	measurements = kind[record.Measurement]{Kind: record.Measurements, count: func(i *Imported) *int { return &i.Measurements }}
	journal      = kind[record.JournalEntry]{Kind: record.Journal, count: func(i *Imported) *int { return &i.Journal }}
)

// columns are the columns of the kind in the order of its fields, each behind a
// prefix.
func (k kind[T]) columns(prefix string) string {
	names := make([]string, len(k.Fields))
	for i, f := range k.Fields {
		names[i] = prefix + f.Column
	}
	return strings.Join(names, ", ")
}

// places are where the columns of a row go.
func (k kind[T]) places(r *T) []any {
	places := make([]any, len(k.Fields))
	for i, f := range k.Fields {
		places[i] = readInto(f.Place(r))
	}
	return places
}

// insert stores a record as it is given.
func (k kind[T]) insert(ctx context.Context, tx *transaction, r T) error {
	_, err := k.insertRow(ctx, tx, r)
	return err
}

// insertRow stores a record and returns the number of its row.
func (k kind[T]) insertRow(ctx context.Context, tx *transaction, r T) (number int64, err error) {
	values := make([]any, len(k.Fields))
	for i, f := range k.Fields {
		values[i] = stored(f, &r)
	}
	marks := strings.Repeat("?, ", len(k.Fields)-1) + "?"
	done, err := tx.ExecContext(ctx, `INSERT INTO `+k.Table+` (`+k.columns("")+`) VALUES (`+marks+`)`, values...)
	if err != nil {
		return 0, err
	}
	return done.LastInsertId()
}

// list returns the records that a clause behind FROM picks.
func (k kind[T]) list(ctx context.Context, q querier, clause string, args ...any) ([]T, error) {
	list := []T{}
	err := rows(ctx, q, `SELECT `+k.columns("")+` FROM `+k.Table+` `+clause, args, func(found *sql.Rows) error {
		r := k.Blank()
		if err := found.Scan(k.places(&r)...); err != nil {
			return err
		}
		if err := k.Finish(&r); err != nil {
			return fmt.Errorf("%s %s: %w", k.One, *k.ID(&r), err)
		}
		list = append(list, r)
		return nil
	})
	return list, err
}

// one returns the record of an id, or ErrNotFound.
func (k kind[T]) one(ctx context.Context, q querier, id string) (found T, err error) {
	list, err := k.list(ctx, q, `WHERE id = ?1`, id)
	if err == nil && len(list) == 0 {
		err = fmt.Errorf("%s %q %w", k.One, id, record.ErrNotFound)
	}
	if err != nil {
		return found, err
	}
	return list[0], nil
}

// pick returns the records of the history that a clause behind FROM picks.
func (k kind[T]) pick(ctx context.Context, s *file, clause string, args ...any) ([]T, error) {
	list, err := k.list(ctx, s.readers, clause, args...)
	return list, explain(s.path, "list "+k.Many, err)
}

// add stores a new record and returns it as stored; its id and time are filled
// in when empty. Unless entry is nil the journal has what it says of it.
func (k kind[T]) add(ctx context.Context, s *file, r T, entry func(T) record.JournalEntry) (T, error) {
	var none T
	tried := "add " + k.One
	if err := s.prepare(k.ID(&r), k.Time(&r), func() error { return k.ready(&r) }); err != nil {
		return none, fmt.Errorf("%s: %w", tried, err)
	}
	err := s.write(ctx, tried, func(tx *transaction) error {
		if k.fits != nil {
			if err := k.fits(ctx, tx, &r); err != nil {
				return err
			}
		}
		if err := takenID(k.insert(ctx, tx, r), *k.ID(&r)); err != nil || entry == nil {
			return err
		}
		return s.note(ctx, tx, entry(r))
	})
	if err != nil {
		return none, err
	}
	return r, nil
}

// prepare gives a new record its time and, when it is otherwise ready, its id.
func (s *file) prepare(id *string, at *time.Time, ready func() error) error {
	*at = s.instantOr(*at)
	err := ready()
	if *id == "" && err == nil {
		*id, err = newID()
	}
	return err
}

// ready makes a record such as it is kept, or says why it cannot be.
func (k kind[T]) ready(r *T) error {
	for _, f := range k.Fields {
		if at, ok := f.Place(r).(*time.Time); ok && at != nil && !at.IsZero() {
			*at = fromMicros(at.UnixMicro())
		}
	}
	if err := k.Check(*r); err != nil {
		return err
	}
	return k.Finish(r)
}

// stored is a value of a record, for the database.
func stored[T any](f record.Field[T], r *T) any {
	switch place := f.Place(r).(type) {
	case *time.Time:
		if place == nil || place.IsZero() {
			return nil
		}
		return place.UnixMicro()
	case *[]string:
		return texts{place}
	case *string:
		if f.EmptyIsNull && *place == "" {
			return nil
		}
		return place
	default:
		return place // the driver follows pointers
	}
}

// readInto makes a place of a record one that the database can write to.
func readInto(place any) any {
	switch p := place.(type) {
	case *time.Time:
		return (*micros)(p)
	case *[]string:
		return texts{p}
	}
	if v := reflect.ValueOf(place).Elem(); v.Kind() == reflect.String {
		return text{v}
	}
	return place
}

// micros reads a time that is kept in microseconds; NULL is the zero time.
type micros time.Time

func (m *micros) Scan(kept any) error {
	var us sql.NullInt64
	err := us.Scan(kept)
	*m = micros(fromNullMicros(us))
	return err
}

// text reads a text of whatever type; NULL is the empty one.
type text struct{ place reflect.Value }

func (t text) Scan(kept any) error {
	var s sql.NullString
	err := s.Scan(kept)
	t.place.SetString(s.String)
	return err
}

// texts are kept as a JSON list, or "" without any.
type texts struct{ place *[]string }

func (t texts) Value() (driver.Value, error) { return pack(*t.place) }

func (t texts) Scan(kept any) error {
	var s sql.NullString
	err := s.Scan(kept)
	if err == nil {
		*t.place, err = unpack[[]string](s.String)
	}
	return err
}
