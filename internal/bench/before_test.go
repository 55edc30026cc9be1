package bench

import (
	"bytes"
	"compress/gzip"
	"io"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"coilkeep/internal/capture"
	"coilkeep/internal/history"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

// unpack reads a file of testdata.
func unpack(t *testing.T, name string) []byte {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", name+".gz"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	content, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	return content
}

// checkBefore verifies a history that holds what testdata/README.md says.
func checkBefore(t *testing.T, s *history.Store) {
	t.Helper()
	report, err := s.Verify(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := workshop.VerifyCaptures(t.Context(), s, &report, func(int, int) {}); err != nil {
		t.Fatal(err)
	}
	skipped := []record.NotRecomputed{{What: "captures", Count: 4, Rules: 1, Known: capture.Rules}}
	if report.Measurements != 4 || len(report.Faults) != 0 || report.CapturedAgain != 0 || !slices.Equal(report.NotRecomputed, skipped) {
		t.Errorf("%+v; want 4 sound measurements, whose results are computed again and whose captures are not", report)
	}
	list, _, err := s.Measurements(t.Context(), record.Filter{})
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range list {
		if m.Formula != 1 || m.Inputs.CopperExcessKelvin != 0 || m.Inputs.CopperExcessUncertaintyKelvin != 0 ||
			m.Inputs.CopperExcessOrigin != "" {
			t.Errorf("%s: formula %d, %+v; want one that knows of no estimate", m.Serial, m.Formula, m.Inputs)
		}
	}
	d, err := s.Design(t.Context(), "Fen")
	if err != nil || d.TimeConstantRatio != 0 || d.QuickShare != 0 || d.QuickShareDeviation != 0 || d.WantedUncertaintyPercent != 0 {
		t.Errorf("design %+v, %v", d, err)
	}
}

// What the release before wrote is migrated with a copy kept, verifies by its own
// formula and rules, and goes on being used.
func TestAHistoryOfTheReleaseBefore(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "history.db")
	old := unpack(t, "before-0008.db")
	if err := os.WriteFile(path, old, 0o600); err != nil {
		t.Fatal(err)
	}
	s := openStore(t, path)
	copies, err := filepath.Glob(path + ".before-version-*")
	if err != nil || len(copies) != 1 {
		t.Fatalf("copies %v, %v; want one", copies, err)
	}
	checkBefore(t, s)
	p := startPlace(t, s, &fakeBench{}, nil, nil)
	p.others = 4
	p.untilState(capture.Open)
	if m := p.measure(6650); m.Serial != "HN-0004" || m.Formula == 1 {
		t.Errorf("recorded as %s by formula %d", m.Serial, m.Formula)
	}
}

// Its export is imported by this release.
func TestAnExportOfTheReleaseBefore(t *testing.T) {
	t.Parallel()
	s := openStore(t, filepath.Join(t.TempDir(), "history.db"))
	counts, err := s.Import(t.Context(), bytes.NewReader(unpack(t, "before-0008.jsonl")))
	if err != nil || counts.Measurements != 4 || counts.Designs != 1 {
		t.Fatalf("imported %+v, %v", counts, err)
	}
	checkBefore(t, s)
}
