package demo

import (
	"io"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/capture"
	"coilkeep/internal/config"
	"coilkeep/internal/copper"
	"coilkeep/internal/history"
	"coilkeep/internal/record"
)

// openWorkshop plugs a workshop in and gives the configuration it is served by.
func openWorkshop(t *testing.T, speed float64) (*Workshop, config.Config) {
	t.Helper()
	w, err := Open(Settings{Folder: t.TempDir(), Speed: speed, Seed: UsualSeed, Coils: 1, Out: io.Discard})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := w.Close(); err != nil {
			t.Error(err)
		}
	})
	cfg, err := w.Config("127.0.0.1:8020")
	if err != nil {
		t.Fatal(err)
	}
	return w, cfg
}

// The configuration is one that serve takes, and says what the instruments are.
func TestConfiguration(t *testing.T) {
	t.Parallel()
	w, cfg := openWorkshop(t, 5)
	b := cfg.Benches[0]
	if cfg.Web.Listen != "127.0.0.1:8020" || cfg.History.Path != filepath.Join(w.settings.Folder, "coilkeep.db") || b.Name != Bench {
		t.Errorf("pages at %s, records in %s, bench %s", cfg.Web.Listen, cfg.History.Path, b.Name)
	}
	if b.Meter.Port != w.shop.MeterPlug.Address() || b.Probe.Port != w.shop.ProbePlug.Address() || b.Meter.LeadOhms != w.shop.LeadOhms {
		t.Errorf("meter %+v and probe %+v are not those of the workshop", b.Meter, b.Probe)
	}
	// A workshop five times as fast has coils that cool five times as fast.
	if _, slow := openWorkshop(t, 1); slow.Benches[0].Steady.TimeConstant != 5*b.Steady.TimeConstant {
		t.Errorf("time constant %s, five times as fast %s", slow.Benches[0].Steady.TimeConstant, b.Steady.TimeConstant)
	}
	if text := w.Describe(); !strings.Contains(text, w.design.Name) || !strings.Contains(text, "kΩ at 20 °C") {
		t.Errorf("described as %q", text)
	}
}

// rules are those of a bench such as the demo's.
var rules = capture.Settings{
	MinOhms: 1000, MaxOhms: 50000, HandsOff: time.Second, Bounce: time.Second, MaxGap: 2100 * time.Millisecond,
	Readings: 8, FewestReadings: 3, Window: 1500 * time.Millisecond, SlopePercentPerMinute: 0.05,
	Patience: 20 * time.Second, TimeConstant: 10 * time.Minute,
	MeterPercent: 0.05, MeterOhms: 0.3, LeadHalfWidthOhms: 0.05,
	AlphaPerKelvin: float64(copper.Standard), AlphaStandardUncertaintyPerKelvin: copper.StandardUncertaintyPerKelvin,
	ProbeHalfWidthKelvin: 0.3, CoilDifferenceKelvin: 0.3, MaxAge: 5 * time.Second,
}

// A demo begins with two batches and three answers, none of them later than now.
// Begun again on the same records it goes on where it was, and with a batch of
// today's design when that was closed.
func TestPastIsFilledInOnce(t *testing.T) {
	t.Parallel()
	const wound = 4
	now := time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC)
	past := NewPast(UsualSeed, wound, now)
	store, err := history.Open(t.Context(), filepath.Join(t.TempDir(), "coilkeep.db"), history.Options{Now: past.Now})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	for range 2 {
		if filled, err := past.Fill(t.Context(), store, rules); err != nil || filled != wound {
			t.Fatalf("%d coils wound, want %d: %v", filled, wound, err)
		}
	}
	list, _, err := store.Measurements(t.Context(), record.Filter{Limit: 100})
	if err != nil || len(list) != yesterdayWound+wound {
		t.Fatalf("%d coils, want %d: %v", len(list), yesterdayWound+wound, err)
	}
	for _, m := range list {
		if m.Time.After(now) || now.Sub(m.Time) > 26*time.Hour {
			t.Errorf("%s was measured at %s, and now it is %s", m.Serial, m.Time, now)
		}
	}
	if answers, _, err := store.Comparisons(t.Context(), record.ComparisonFilter{Limit: 10}); err != nil || len(answers) != len(calls()) {
		t.Errorf("%d answers, %v", len(answers), err)
	}
	open, err := store.OpenBatchOf(t.Context(), Bench)
	if err != nil || open == nil || open.Design != todaysDesign().Name {
		t.Fatalf("open is %+v, %v", open, err)
	}
	if _, err := store.CloseBatch(t.Context(), open.Name, "Wren"); err != nil {
		t.Fatal(err)
	}
	if filled, err := past.Fill(t.Context(), store, rules); err != nil || filled != 0 {
		t.Errorf("%d coils wound in a new batch: %v", filled, err)
	}
	next, err := store.OpenBatchOf(t.Context(), Bench)
	if err != nil || next == nil || next.Name == open.Name || next.Design != open.Design {
		t.Errorf("open is %+v, %v", next, err)
	}
}

// What a buyer reads is what their coil has where it is, with what lies across
// it: R = R20·(1 + α·(t − 20 °C)), two resistances side by side 1/(1/R + 1/P).
func TestBuyersReadWhatTheirCoilHas(t *testing.T) {
	t.Parallel()
	past := NewPast(UsualSeed, 1, time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC))
	store, err := history.Open(t.Context(), filepath.Join(t.TempDir(), "coilkeep.db"), history.Options{Now: past.Now})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	if _, err := past.Fill(t.Context(), store, rules); err != nil {
		t.Fatal(err)
	}
	for _, c := range calls() {
		answers, err := store.ComparisonsOf(t.Context(), c.serial)
		if err != nil || len(answers) != 1 {
			t.Fatalf("%d answers about %s, %v", len(answers), c.serial, err)
		}
		coil, err := store.Coil(t.Context(), c.serial)
		if err != nil {
			t.Fatal(err)
		}
		want := coil.Measurements[0].R20Ohms * (1 + 0.00393*(c.celsius-20)) // α20 of IEC 60028
		if c.throughOhms > 0 {
			want = want * c.throughOhms / (want + c.throughOhms)
		}
		if got := answers[0].Input.Theirs[0].Ohms; math.Abs(got-want) > 5.01 { // half of what a handheld of 10 Ω shows
			t.Errorf("%s read %g Ω, its coil has %.1f Ω", c.serial, got, want)
		}
	}
}
