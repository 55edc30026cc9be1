package workshop

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/drift"
	"coilkeep/internal/record"
)

// cannedStore answers from lists, two measurements a page.
type cannedStore struct {
	batches      []record.Batch
	measurements []record.Measurement
	checks       []record.CheckMeasurement
	baseline     *record.Baseline
	notes        []record.JournalEntry
	// targets of the revisions, from the first on; 6690 Ω and the revision otherwise.
	targets []float64
}

func (s cannedStore) CurrentBaseline(_ context.Context, winder, design string, revision int) (*record.Baseline, error) {
	if b := s.baseline; b != nil && b.Winder == winder && b.Design == design && b.DesignRevision == revision {
		return b, nil
	}
	return nil, nil
}

func (s cannedStore) Journal(_ context.Context, f record.JournalFilter) (found []record.JournalEntry, err error) {
	for _, n := range s.notes {
		if n.Action == f.Action && n.Subject == f.Subject {
			found = append(found, n)
		}
	}
	slices.Reverse(found) // the latest first
	return found, nil
}

func (s cannedStore) Batch(_ context.Context, name string) (record.Batch, error) {
	for _, b := range s.batches {
		if b.Name == name {
			return b, nil
		}
	}
	return record.Batch{}, record.ErrNotFound
}

func (s cannedStore) Batches(_ context.Context, f record.BatchFilter) (found []record.Batch, err error) {
	for _, b := range s.batches {
		if (f.Design == "" || b.Design == f.Design) && (f.Winder == "" || b.Winder == f.Winder) {
			found = append(found, b)
		}
	}
	slices.SortStableFunc(found, func(a, b record.Batch) int { return b.OpenedAt.Compare(a.OpenedAt) })
	return found[:min(len(found), f.Limit)], nil
}

func (s cannedStore) DesignRevision(_ context.Context, name string, revision int) (record.Design, error) {
	d := record.Design{Name: name, Revision: revision, TargetOhms: 6690 + float64(revision), LowerOhms: 6500, UpperOhms: 6900,
		GaugeAWG: 42, Turns: 8000,
		Bobbin: &record.Bobbin{StraightMM: 58, CoreRadiusMM: 2.5, BuildMM: 3.5}}
	if s.targets != nil {
		d.TargetOhms, d.Turns = s.targets[revision-1], 7800+200*revision
	}
	return d, nil
}

func (s cannedStore) Measurements(_ context.Context, f record.Filter) (page []record.Measurement, next string, err error) {
	after := f.After == ""
	for _, m := range s.measurements {
		if m.Batch != f.Batch {
			continue
		}
		if after && len(page) == 2 {
			return page, page[1].ID, nil
		}
		if after {
			page = append(page, m)
		}
		after = after || m.ID == f.After
	}
	return page, "", nil
}

func (s cannedStore) CheckMeasurements(_ context.Context, f record.CheckFilter) (found []record.CheckMeasurement, err error) {
	for _, c := range s.checks {
		if c.Bench == f.Bench && !c.Time.Before(f.From) && c.Time.Before(f.To) {
			found = append(found, c)
		}
	}
	return found, nil
}

var monday = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

func at(minutes int) time.Time { return monday.Add(time.Duration(minutes) * time.Minute) }

func woundStock() cannedStore {
	s := cannedStore{batches: []record.Batch{
		{Name: "late", Bench: "north", Design: "larkspur", DesignRevision: 2, Winder: "W2", OpenedAt: at(600)},
		{Name: "early", Bench: "north", Design: "larkspur", DesignRevision: 1, Winder: "W2", OpenedAt: at(0)},
		{Name: "other", Bench: "south", Design: "fennel", DesignRevision: 1, Winder: "W3", OpenedAt: at(0)},
		{Name: "mixed", Bench: "south", Design: "fennel", DesignRevision: 1, Winder: "W3", OpenedAt: at(1)},
		{Name: "sorrel-1", Bench: "south", Design: "sorrel", DesignRevision: 1, Winder: "W3", OpenedAt: at(2)},
	}}
	add := func(batch string, sequence, minute int, stage string, status record.Status) {
		s.measurements = append(s.measurements, record.Measurement{
			ID: fmt.Sprint(batch, len(s.measurements)), Batch: batch, Sequence: sequence, Serial: fmt.Sprint(batch, "-", sequence),
			Time: at(minute), Stage: stage, Status: status, R20Ohms: 6690 + float64(sequence), TemperatureCelsius: 21,
		})
	}
	add("early", 1, 10, "wound", record.Superseded)
	add("early", 2, 20, "wound", record.Recorded)
	add("early", 3, 30, "wound", record.Forced)
	add("early", 4, 40, "wound", record.Void)
	add("early", 1, 50, "potted", record.Recorded)
	add("early", 1, 55, "wound", record.Recorded)
	add("early", 4, 60, "wound", record.Manual)
	add("late", 1, 610, "wound", record.Recorded)
	add("late", 2, 620, "wound", record.Superseded)
	s.checks = []record.CheckMeasurement{
		{Bench: "north", Standard: "R-1", Time: at(15), MeasuredOhms: 10000},
		{Bench: "north", Standard: "R-1", Time: at(17), MeasuredOhms: 10002},
		{Bench: "north", Standard: "R-1", Time: at(35), MeasuredOhms: 10003},
		{Bench: "north", Standard: "R-1", Time: at(100), MeasuredOhms: 10001},
		{Bench: "north", Standard: "R-2", Time: at(16), MeasuredOhms: 5000},
		{Bench: "south", Standard: "R-1", Time: at(16), MeasuredOhms: 9000},
		{Bench: "north", Standard: "R-1", Time: at(-60 * 24), MeasuredOhms: 1},
	}
	return s
}

func TestBatch(t *testing.T) {
	coils, options, err := CoilsOfBatch(t.Context(), woundStock(), "early", time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, c := range coils {
		text := strings.TrimSpace(fmt.Sprintf("%d %s %s", c.Sequence, c.Serial, c.Doubtful))
		for _, ohms := range c.CheckStandardOhms {
			text += fmt.Sprint(" ", ohms)
		}
		text += fmt.Sprintf(" at %.0f", c.WoundAt().Sub(monday).Minutes())
		got = append(got, text)
	}
	// The void one, the other stage, the other standard and the old check do not
	// count. Coils are in order of winding, at the time they were measured first: the
	// first and the last were measured again, and draw no check to themselves. Every
	// check is there, also two in a row.
	want := "1 early-1 at 10, 2 early-2 10000 10002 at 20, 3 early-3 forced at 30, 4 early-4 10003 10001 at 40"
	if s := strings.Join(got, ", "); s != want {
		t.Errorf("got %s, want %s", s, want)
	}
	// 2·58 + 2π·6 mm over 2·58 + 2π·4.25 mm.
	if options.TargetOhms != 6691 || options.Winding.Turns != 8000 || options.Winding.OutermostOverMean < 1.0770 ||
		options.Winding.OutermostOverMean > 1.0771 || options.Winding.OutermostTurnOhms == 0 {
		t.Errorf("options %+v", options)
	}
}

func TestWinder(t *testing.T) {
	coils, options, err := CoilsOfWinder(t.Context(), woundStock(), "W2", "", time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	if len(coils) != 5 || coils[4].Batch != "late" || coils[4].Sequence != 5 || options.TargetOhms != 6692 {
		t.Errorf("%d coils, the last %+v, target %v; want 5, from the late batch, of the newest revision", len(coils), coils[len(coils)-1],
			options.TargetOhms)
	}
	for name, tt := range map[string]struct {
		winder, design string
		want           error
	}{
		"nobody": {"W9", "", ErrNoCoils}, "several designs": {"W3", "", ErrSeveralDesigns}, "no coils": {"W3", "sorrel", ErrNoCoils},
	} {
		if _, _, err := CoilsOfWinder(t.Context(), woundStock(), tt.winder, tt.design, time.UTC); !errors.Is(err, tt.want) {
			t.Errorf("%s: got %v, want %v", name, err, tt.want)
		}
	}
	if _, _, err := CoilsOfBatch(t.Context(), woundStock(), "none", time.UTC); !errors.Is(err, record.ErrNotFound) {
		t.Errorf("got %v, want ErrNotFound", err)
	}
	if _, _, err := CoilsOfBatch(t.Context(), woundStock(), "other", time.UTC); !errors.Is(err, ErrNoCoils) {
		t.Errorf("got %v, want ErrNoCoils", err)
	}
}

func TestRevision(t *testing.T) {
	for revision, want := range map[int]int{1: 4, 2: 1} {
		coils, options, err := CoilsOfRevision(t.Context(), woundStock(), "W2", "larkspur", revision, time.UTC)
		if err != nil || len(coils) != want || options.TargetOhms != 6690+float64(revision) {
			t.Errorf("revision %d: %d coils, target %v, %v; want %d", revision, len(coils), options.TargetOhms, err, want)
		}
	}
	if _, _, err := CoilsOfRevision(t.Context(), woundStock(), "W2", "larkspur", 3, time.UTC); !errors.Is(err, ErrNoCoils) {
		t.Errorf("got %v, want ErrNoCoils", err)
	}
}

// A baseline that was kept goes with its revision and its winder only.
func TestKeptBaseline(t *testing.T) {
	s := woundStock()
	s.baseline = &record.Baseline{Winder: "W2", Design: "larkspur", DesignRevision: 2, Count: 40, MeanOhms: 6691, SigmaWithinOhms: 12}
	for batch, want := range map[string]bool{"early": false, "late": true} {
		_, options, err := CoilsOfBatch(t.Context(), s, batch, time.UTC)
		if err != nil || (options.Frozen != nil) != want {
			t.Errorf("batch %s: baseline %+v, %v; want one: %v", batch, options.Frozen, err, want)
		}
	}
	_, options, err := CoilsOfWinder(t.Context(), s, "W2", "", time.UTC)
	if err != nil || options.Frozen == nil || options.Frozen.MeanOhms != 6691 || options.Frozen.SigmaWithinOhms != 12 ||
		options.Frozen.Count != 40 {
		t.Errorf("winder: baseline %+v, %v", options.Frozen, err)
	}
}

func TestDesign(t *testing.T) {
	s := woundStock()
	s.baseline = &record.Baseline{Design: "larkspur", DesignRevision: 2, Count: 40, MeanOhms: 6691, SigmaWithinOhms: 12}
	coils, options, err := CoilsOfDesign(t.Context(), s, "larkspur", time.UTC)
	if err != nil || len(coils) != 5 || coils[4].Sequence != 5 || options.Frozen != nil {
		t.Errorf("%d coils, options %+v, %v; want 5 and no baseline of a winder", len(coils), options, err)
	}
	if _, _, err := CoilsOfDesign(t.Context(), s, "sorrel", time.UTC); !errors.Is(err, ErrNoCoils) {
		t.Errorf("got %v, want ErrNoCoils", err)
	}
}

func TestNewestCoils(t *testing.T) {
	t.Parallel()
	of := func(coils ...int) []record.Batch {
		batches := make([]record.Batch, len(coils))
		for i, n := range coils {
			batches[i].LastSequence = n
		}
		return batches
	}
	for _, tt := range []struct {
		name    string
		batches []record.Batch
		want    int
		more    bool
	}{
		{"none", nil, 0, false},
		{"few", of(10, 20, 30), 3, false},
		{"just as many", of(MostCoils-30, 30), 2, false},
		{"too many", of(40, MostCoils-30, 30), 2, true},
		{"one that is too long alone", of(10, MostCoils+1), 1, true},
	} {
		kept := batches{list: tt.batches}.newestBatches()
		if len(kept.list) != tt.want || kept.more != tt.more {
			t.Errorf("%s: %d batches, more %v; want %d, %v", tt.name, len(kept.list), kept.more, tt.want, tt.more)
		}
		if tt.want > 0 && kept.list[len(kept.list)-1].LastSequence != tt.batches[len(tt.batches)-1].LastSequence {
			t.Errorf("%s: the newest batch is not among them", tt.name)
		}
	}
}

// A winder is found behind any number of batches of others, and when it has more
// batches than are looked through, that is said.
func TestManyBatches(t *testing.T) {
	t.Parallel()
	s := woundStock()
	for i := range mostBatches + 1 {
		s.batches = append(s.batches, record.Batch{Name: fmt.Sprint("busy-", i), Bench: "east", Design: "larkspur", DesignRevision: 1,
			Winder: "W9", OpenedAt: at(1000 + i), LastSequence: 1})
	}
	s.measurements = append(s.measurements, record.Measurement{ID: "last", Batch: fmt.Sprint("busy-", mostBatches), Sequence: 1,
		Serial: "X-1", Time: at(4000), Stage: "wound", Status: record.Recorded, R20Ohms: 6690})
	if coils, options, err := CoilsOfWinder(t.Context(), s, "W2", "", time.UTC); err != nil || len(coils) != 5 || options.LeftOut {
		t.Errorf("W2: %d coils, left out %v, %v; want all 5", len(coils), options.LeftOut, err)
	}
	if _, options, err := CoilsOfWinder(t.Context(), s, "W9", "", time.UTC); err != nil || !options.LeftOut {
		t.Errorf("W9: left out %v, %v; want it said that there are more", options.LeftOut, err)
	}
	if _, options, err := CoilsOfDesign(t.Context(), s, "larkspur", time.UTC); err != nil || !options.LeftOut {
		t.Errorf("the design: left out %v, %v; want it said that there are more", options.LeftOut, err)
	}
}

// A coil is shown by the measurement analysed and its verdict, not by another of the
// same coil.
func TestCoilsKeepTheirVerdict(t *testing.T) {
	t.Parallel()
	s := woundStock()
	for i := range s.measurements {
		s.measurements[i].Verdict = conformity.Low
	}
	coils, _, err := CoilsOfWinder(t.Context(), s, "W2", "", time.UTC)
	if err != nil || len(coils) == 0 {
		t.Fatalf("%d coils, %v", len(coils), err)
	}
	for _, c := range coils {
		of := slices.IndexFunc(s.measurements, func(m record.Measurement) bool { return m.ID == c.MeasurementID })
		if m := s.measurements[of]; m.Serial != c.Serial || !m.Stands() || m.Stage != "wound" || c.Verdict != "low" {
			t.Errorf("%+v is by %+v", c, m)
		}
	}
}

// wander fills two batches of forty coils each to revisions 1 and 2 of larkspur, whose
// targets are as given; the coils of each scatter about its level.
func wander(targets, levels [2]float64) cannedStore {
	random := rand.New(rand.NewPCG(7, 4))
	s := cannedStore{targets: targets[:]}
	for b, level := range levels {
		name := fmt.Sprint("b", b+1)
		s.batches = append(s.batches, record.Batch{Name: name, Bench: "north", Design: "larkspur", DesignRevision: b + 1, Winder: "W2",
			OpenedAt: at(1000 * b)})
		for i := range 40 {
			s.measurements = append(s.measurements, record.Measurement{
				ID: fmt.Sprint(name, "-", i), Batch: name, Sequence: i + 1, Serial: fmt.Sprint(name, "-", i),
				Time: at(1000*b + 10*i), Stage: "wound", Status: record.Recorded,
				R20Ohms: level * (1 + 0.003*random.NormFloat64()), ExpandedUncertaintyOhms: 10, CoverageFactor: 2,
				TemperatureCelsius: 21, Spool: "S-17", Winder: "W2",
			})
		}
	}
	return s
}

// A target that is changed on purpose, and a winder that follows, is no drift; one
// that does not follow is told with the change of target.
func TestRevisedTarget(t *testing.T) {
	t.Parallel()
	targets := [2]float64{6691, 6890}
	report := func(levels [2]float64) drift.Report {
		t.Helper()
		coils, options, err := CoilsOfWinder(t.Context(), wander(targets, levels), "W2", "", time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		r, err := drift.Analyse(coils, options)
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	r := report(targets)
	if r.Drifting || !slices.ContainsFunc(r.Notes, func(n string) bool {
		return strings.HasPrefix(n,
			"40 coils wound to another target (6.691 kΩ)")
	}) {
		t.Errorf("a winder that follows: %s\n%q", r.Summary, r.Notes)
	}
	if p := r.Points[0]; math.Abs(p.R20Ohms/(p.ComparedOhms*6691/6890)-1) > 1e-12 || math.Abs(*p.DeviationRatio-(p.R20Ohms/6691-1)) > 1e-12 {
		t.Errorf("the first coil is %+v", p)
	}
	// The same wire and the turns of the design: revision 2 has 8200 on 8000.
	if s := r.Spools[0]; math.Abs(*s.OhmsPerTurn-(6691.0/8000+6890.0/8200)/2) > 0.001 {
		t.Errorf("spool %+v", s)
	}
	r = report([2]float64{6691, 6691})
	if !r.Drifting || r.Attribution[0].Cause != "target" || !strings.Contains(r.Summary,
		"the change to target 6.89 kΩ") || r.ChangePoints[0].ShiftRatio > -0.02 {
		t.Errorf("a winder that stays: %s", r.Summary)
	}
}

// A baseline of fewer coils than make limits, from before there was a rule for it,
// is none.
func TestOldBaselineOfFewCoils(t *testing.T) {
	s := woundStock()
	s.baseline = &record.Baseline{Winder: "W2", Design: "larkspur", DesignRevision: 1, Count: 5, MeanOhms: 6690, SigmaWithinOhms: 20}
	if _, o, err := CoilsOfBatch(t.Context(), s, "early", time.UTC); err != nil || o.Frozen != nil {
		t.Errorf("frozen baseline %+v, %v; want none", o.Frozen, err)
	}
}
