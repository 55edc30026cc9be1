package bench

import (
	"errors"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/capture"
	"coilkeep/internal/record"
)

// changeSpool has the bench know of the new spool before it returns.
func (p *place) changeSpool(spool string) {
	p.t.Helper()
	if _, err := p.bench.ChangeSpool(p.t.Context(), spool, "Wren"); err != nil {
		p.t.Fatal(err)
	}
}

func (p *place) next(n Next) {
	p.t.Helper()
	if err := p.bench.SetNext(p.t.Context(), n); err != nil {
		p.t.Fatal(err)
	}
}

// A coil stays a coil of the spool it was wound from, however late it is
// measured again or at another stage.
func TestACoilKeepsItsSpool(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	p.measure(6600)
	p.open()
	p.changeSpool("SP-2")
	if m := p.measure(6610); m.Serial != "HN-0002" || m.Spool != "SP-2" {
		t.Fatalf("after the change: %s from spool %s, want HN-0002 from SP-2", m.Serial, m.Spool)
	}
	p.open()
	for _, n := range []Next{{Serial: "HN-0001", Again: true}, {Serial: "HN-0001", Stage: record.StagePotted}} {
		p.next(n)
		if m := p.measure(6600); m.Serial != "HN-0001" || m.Sequence != 1 || m.Batch != "first" || m.Spool != "SP-1" {
			t.Errorf("%+v: filed as %s, sequence %d of %s, spool %s; want HN-0001, 1 of first, SP-1", n, m.Serial, m.Sequence, m.Batch, m.Spool)
		}
		p.open()
	}
	// Nor does it move to the batch that is open now.
	if _, err := p.bench.CloseBatch(t.Context(), "Wren"); err != nil {
		t.Fatal(err)
	}
	if _, err := p.bench.StartBatch(t.Context(), record.BatchStart{Name: "second", Design: "Fen", Spool: "SP-9", Winder: "W9"}); err != nil {
		t.Fatal(err)
	}
	p.next(Next{Serial: "HN-0001", Stage: record.StageAssembled})
	if m := p.measure(6600); m.Batch != "first" || m.Spool != "SP-1" || m.Winder != "" {
		t.Errorf("with another batch open: filed in %s, spool %s, winder %s; want first, SP-1, no winder", m.Batch, m.Spool, m.Winder)
	}
	p.open()
	if m := p.measure(6600); m.Batch != "second" || m.Spool != "SP-9" || m.Winder != "W9" {
		t.Errorf("a new coil: filed in %s, spool %s, winder %s; want second, SP-9, W9", m.Batch, m.Spool, m.Winder)
	}
}

// A coil that came without a batch, out of an old table, does not enter the one
// that is open when it is measured again.
func TestACoilWithoutABatchStaysSo(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	m := p.measure(6600)
	p.open()
	old, readings, err := p.store.Measurement(t.Context(), m.ID)
	if err != nil {
		t.Fatal(err)
	}
	old.ID, old.Serial, old.Batch, old.Spool, old.Winder = "", "old-1", "", "SP-0", "W0"
	if _, err := p.store.Record(t.Context(), old, readings); err != nil {
		t.Fatal(err)
	}
	p.next(Next{Serial: "old-1", Stage: record.StagePotted})
	if m := p.measure(6600); m.Serial != "old-1" || m.Batch != "" || m.Spool != "SP-0" || m.Winder != "W0" {
		t.Errorf("filed as %s in batch %q, spool %s, winder %s; want old-1 in none, SP-0, W0", m.Serial, m.Batch, m.Spool, m.Winder)
	}
}

// A measurement that was voided was of another coil, perhaps: it does not decide
// what the coil of that serial number belongs to.
func TestAVoidedMeasurementFilesNoCoil(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	wrong := p.measure(6600)
	p.open()
	if _, err := p.store.Void(t.Context(), wrong.ID, "another coil was on", "Wren"); err != nil {
		t.Fatal(err)
	}
	if _, err := p.bench.CloseBatch(t.Context(), "Wren"); err != nil {
		t.Fatal(err)
	}
	if _, err := p.store.AddDesign(t.Context(), record.Design{Name: "Marsh", TargetOhms: 8000, LowerOhms: 7500, UpperOhms: 8500,
		AlphaPerKelvin: 0.00393, AlphaStandardUncertaintyPerKelvin: 0.00005}, "test"); err != nil {
		t.Fatal(err)
	}
	if _, err := p.bench.StartBatch(t.Context(), record.BatchStart{Name: "second", Design: "Marsh", Spool: "SP-2"}); err != nil {
		t.Fatal(err)
	}
	p.next(Next{Serial: wrong.Serial})
	m := p.measure(8000)
	if m.Serial != wrong.Serial || m.Batch != "second" || m.Design != "Marsh" || m.Spool != "SP-2" {
		t.Errorf("filed as %s in %s, design %s, spool %s; want %s in second, Marsh, SP-2", m.Serial, m.Batch, m.Design, m.Spool, wrong.Serial)
	}
	p.open()
	// What stands decides, not the voided one, wherever that is.
	p.next(Next{Serial: wrong.Serial, Stage: record.StagePotted})
	if m := p.measure(8010); m.Batch != "second" || m.Sequence != 1 {
		t.Errorf("potted: filed in %s, sequence %d; want second, 1", m.Batch, m.Sequence)
	}
}

// fullPlace is a place whose disk is full and holds the measurement of a coil
// of the batch "second", which began with spool SP-2, back. HN-0001, of the batch
// "first" and spool SP-1, was measured before.
func fullPlace(t *testing.T) (*place, *failing) {
	t.Helper()
	var disk *failing
	p := newPlace(t, func(s Store) Store { disk = &failing{Store: s}; return disk }, nil)
	p.untilState(capture.Open)
	p.measure(6600)
	p.open()
	if _, err := p.bench.CloseBatch(t.Context(), "Wren"); err != nil {
		t.Fatal(err)
	}
	if _, err := p.bench.StartBatch(t.Context(), record.BatchStart{Name: "second", Design: "Fen", Spool: "SP-2", Winder: "W2"}); err != nil {
		t.Fatal(err)
	}
	disk.set(true)
	p.clip(6610)
	p.until("the full disk", func(s Snapshot) bool { return strings.Contains(s.Unsaved, "disk is full") })
	return p, disk
}

func (f *failing) set(full bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.full = full
}

// saved frees the disk and waits for what was held back.
func (p *place) saved(disk *failing, before string) record.Measurement {
	p.t.Helper()
	disk.set(false)
	s := p.until("it to be saved", func(s Snapshot) bool { return s.Unsaved == "" && s.Last.ID != before })
	return *s.Last
}

// refile asks until no attempt to write is under way.
func (p *place) refile(n Next) error {
	p.t.Helper()
	deadline := time.Now().Add(patience)
	for {
		err := p.bench.SetNext(p.t.Context(), n)
		if err == nil || !strings.Contains(err.Error(), "being saved") || time.Now().After(deadline) {
			return err
		}
	}
}

// A form sent without a serial number must not take it from a measurement that
// waits for the disk: it could never be saved.
func TestWhatWaitsKeepsASerial(t *testing.T) {
	t.Parallel()
	p, disk := fullPlace(t)
	before := p.bench.Snapshot().Last.ID
	err := p.refile(Next{})
	if !errors.Is(err, record.ErrInvalid) || !strings.Contains(err.Error(), "disk is full") {
		t.Errorf("no serial: %v, want ErrInvalid with the reason why it waits", err)
	}
	if m := p.saved(disk, before); m.Serial != "HN-0002" || m.Batch != "second" {
		t.Errorf("saved as %s in %s, want HN-0002 in second", m.Serial, m.Batch)
	}
}

func TestWhatWaitsIsFiledAnew(t *testing.T) {
	t.Parallel()
	p, disk := fullPlace(t)
	before := p.bench.Snapshot().Last.ID
	if err := p.refile(Next{Serial: "HN-0001", Stage: record.StagePotted}); err != nil {
		t.Fatal(err)
	}
	m := p.saved(disk, before)
	if m.Serial != "HN-0001" || m.Stage != record.StagePotted || m.Batch != "first" || m.Sequence != 1 || m.Spool != "SP-1" || m.Winder != "" {
		t.Errorf("saved as %s (%s), sequence %d of %s, spool %s, winder %q; want HN-0001 (potted), 1 of first, SP-1, no winder",
			m.Serial, m.Stage, m.Sequence, m.Batch, m.Spool, m.Winder)
	}
}

// A new serial number puts it back into the batch that was open when it was
// measured.
func TestWhatWaitsIsANewCoilAfterAll(t *testing.T) {
	t.Parallel()
	p, disk := fullPlace(t)
	before := p.bench.Snapshot().Last.ID
	for _, n := range []Next{{Serial: "HN-0001", Stage: record.StagePotted}, {Serial: "A-1"}} {
		if err := p.refile(n); err != nil {
			t.Fatal(err)
		}
	}
	if m := p.saved(disk, before); m.Serial != "A-1" || m.Stage != record.StageWound || m.Batch != "second" || m.Spool != "SP-2" ||
		m.Winder != "W2" {
		t.Errorf("saved as %s (%s) of %s, spool %s, winder %s; want A-1 (wound) of second, SP-2, W2", m.Serial, m.Stage, m.Batch, m.Spool,
			m.Winder)
	}
}

// Its R20 and its verdict are by one design, so it cannot become a coil of
// another.
func TestWhatWaitsKeepsItsDesign(t *testing.T) {
	t.Parallel()
	p, disk := fullPlace(t)
	before := p.bench.Snapshot().Last.ID
	design, err := p.store.Design(t.Context(), "Fen")
	if err != nil {
		t.Fatal(err)
	}
	design.Name, design.AlphaPerKelvin = "Tern", 0.003851
	if _, err := p.store.AddDesign(t.Context(), design, "test"); err != nil {
		t.Fatal(err)
	}
	first, readings, err := p.store.Measurement(t.Context(), before)
	if err != nil {
		t.Fatal(err)
	}
	first.ID, first.Serial, first.Design, first.Batch = "", "T-1", "Tern", ""
	if _, err := p.store.Record(t.Context(), first, readings); err != nil {
		t.Fatal(err)
	}
	err = p.refile(Next{Serial: "T-1", Stage: record.StagePotted})
	if !errors.Is(err, ErrState) || !strings.Contains(err.Error(), "T-1 is of Tern revision 1") {
		t.Errorf("a coil of another design: %v, want ErrState that names it", err)
	}
	if m := p.saved(disk, before); m.Serial != "HN-0002" || m.Design != "Fen" {
		t.Errorf("saved as %s of %s, want HN-0002 of Fen", m.Serial, m.Design)
	}
}

// Who insists is named in the journal, and not who wound the coil.
func TestTheJournalNamesWhoInsists(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, func(s *Settings) { s.Capture.Patience = time.Hour })
	if _, err := p.bench.CloseBatch(t.Context(), "Wren"); err != nil {
		t.Fatal(err)
	}
	if _, err := p.bench.StartBatch(t.Context(), record.BatchStart{Name: "second", Design: "Fen", Operator: "Wren"}); err != nil {
		t.Fatal(err)
	}
	p.untilState(capture.Open)
	first := p.measure(6600)
	p.open()
	p.next(Next{Serial: first.Serial, Again: true, Who: "Mira\x00"})
	again := p.measure(6610)
	p.open()
	p.clip(7000 * (1 + 0.00393*1.5)) // on the limit, so that it waits
	p.untilState(capture.Steady)
	if err := p.bench.Record(t.Context(), RecordRequest{Force: true, Reason: "buyer waits", Who: "Tove"}); err != nil {
		t.Fatal(err)
	}
	if again.Operator != "Wren" {
		t.Errorf("operator %q, want Wren, who wound it", again.Operator)
	}
	for action, want := range map[string]string{"supersede": "Mira", "forced": "Tove"} {
		list, err := p.store.Journal(t.Context(), record.JournalFilter{Action: action})
		if err != nil || len(list) != 1 || list[0].Who != want {
			t.Errorf("journal of %s: %+v, %v; want one entry of %s", action, list, err, want)
		}
	}
}
