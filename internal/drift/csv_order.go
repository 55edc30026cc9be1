package drift

import (
	"slices"
	"time"

	"coilkeep/internal/sheet"
)

// csvOrder puts coils in the order of winding as their rows come.
type csvOrder struct {
	slots []csvSlot
	// places are the slots of coils by batch and sequence.
	places map[csvPlace]int
	// lastOf is the coil before, by batch.
	lastOf map[string]Coil
}

// csvSlot is a place for a coil; it is empty where all measurements were withdrawn.
type csvSlot struct {
	coil   Coil
	filled bool
	// firstMeasured is when the coil was measured first, zero when that is the coil's
	// own time or not told.
	firstMeasured time.Time
}

type csvPlace struct {
	batch    string
	sequence int
}

// keepPlace keeps the place of a withdrawn measurement for the one that comes
// instead of it. Faults in its row are of no account.
func (o *csvOrder) keepPlace(row *sheet.Row) {
	place := csvPlace{row.Text("batch"), row.Count("sequence", 1)}
	if _, known := o.places[place]; known || place.sequence == 0 {
		return
	}
	o.places[place] = len(o.slots)
	o.slots = append(o.slots, csvSlot{firstMeasured: row.Time("time")})
}

// placeCoil takes the coil of a row, in the place kept for it or after the one
// before; a fault of the row says why it can be neither.
func (o *csvOrder) placeCoil(c Coil, row *sheet.Row) {
	place := csvPlace{c.Batch, c.Sequence}
	i, known := o.places[place]
	if known && o.slots[i].filled {
		c.checkAfter(o.slots[i].coil, row)
		return
	}
	fits, last := known, false
	if known {
		fits, last = o.fitsBetween(i, c)
	}
	if !fits {
		if before, follows := o.lastOf[c.Batch]; follows {
			c.checkAfter(before, row)
		}
		i, last = len(o.slots), true
		o.slots = append(o.slots, csvSlot{})
	}
	if c.Sequence != 0 {
		o.places[place] = i
	}
	o.slots[i].coil, o.slots[i].filled = c, true
	if last {
		if c.Time.IsZero() {
			c.Time = o.lastOf[c.Batch].Time // the next one is not wound before this either
		}
		o.lastOf[c.Batch] = c
	}
}

// fitsBetween says whether a coil in slot i stands between its neighbours of the
// batch by number, and whether it is the last of them.
func (o *csvOrder) fitsBetween(i int, c Coil) (fits, last bool) {
	of := func(s csvSlot) bool { return s.filled && s.coil.Batch == c.Batch }
	for _, s := range slices.Backward(o.slots[:i]) {
		if of(s) {
			if s.coil.Sequence == 0 || s.coil.Sequence >= c.Sequence {
				return false, false
			}
			break
		}
	}
	after := slices.IndexFunc(o.slots[i:], of)
	return after < 0 || c.Sequence < o.slots[i+after].coil.Sequence, after < 0
}

// coilsInOrder returns the coils.
func (o *csvOrder) coilsInOrder() []Coil {
	var coils []Coil
	for _, s := range o.slots {
		if s.filled {
			s.coil.FirstMeasured = s.firstMeasured
			coils = append(coils, s.coil)
		}
	}
	return coils
}

// checkAfter sees that c may stand in this row when before is the one before it
// of its batch.
func (c Coil) checkAfter(before Coil, row *sheet.Row) {
	switch {
	case (c.Sequence == 0) != (before.Sequence == 0):
		row.Fail("sequence", "some coils of a batch have a number and some have none; fill in all or none")
	case c.Sequence != 0 && c.Sequence == before.Sequence:
		row.Fail("sequence", "coil %d stands there twice; keep the row that counts, of one stage, and give the other the status superseded; "+
			"coils of several batches need the column batch", c.Sequence)
	case c.Sequence != 0 && c.Sequence < before.Sequence:
		row.Fail("sequence", "coil %d comes after coil %d; coils stand in the order of winding, and those of several batches need the "+
			"column batch", c.Sequence, before.Sequence)
	case c.Sequence == 0 && !c.Time.IsZero() && c.Time.Before(before.Time):
		row.Fail("time", "%s comes after %s; rows go in the order of winding, and coils of several batches need the column batch; "+
			"where the time is not that of winding, tell the order by the column sequence",
			c.Time.Format(time.RFC3339), before.Time.Format(time.RFC3339))
	}
}
