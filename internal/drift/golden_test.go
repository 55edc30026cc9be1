package drift

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"
	"testing"
	"time"
)

var updateGolden = flag.Bool("update", false, "write the golden reports anew")

// goldenBatch is one batch of each kind that a report speaks about.
type goldenBatch struct {
	name    string
	coils   []Coil
	options Options
}

// goldenBatches are wound by the generators of the other tests.
func goldenBatches(seed uint64) []goldenBatch {
	batches := append(goldenProcesses(seed), goldenCauses(seed)...)
	return append(batches, goldenOptions(seed)...)
}

// goldenProcesses differ in how the process moves.
func goldenProcesses(seed uint64) []goldenBatch {
	rising := func(from int) func(int) float64 { return func(i int) float64 { return 0.0004 * float64(from+i) } }
	outliers := newWorkshop(seed).wind(60, "SP-1", unmoved).coils
	for _, i := range []int{20, 40, 58, 59} {
		outliers[i].R20Ohms *= 1.05
	}
	outliers[30].R20Ohms *= 0.7
	coarse := newWorkshop(seed).wind(70, "SP-1", during(40, 70, 0.01)).coils
	for i := range coarse {
		coarse[i].R20Ohms = math.Round(coarse[i].R20Ohms/10) * 10
	}
	alike := newWorkshop(seed).wind(80, "SP-1", unmoved).coils
	for i := 1; i < len(alike); i++ {
		alike[i].R20Ohms += 0.7 * (alike[i-1].R20Ohms - targetOhms)
	}
	stuck := newWorkshop(seed).wind(20, "SP-1", unmoved).coils
	for i := range stuck {
		stuck[i].R20Ohms = targetOhms
	}
	return []goldenBatch{
		{"quiet", newWorkshop(seed).wind(70, "SP-1", unmoved).coils, ordinary()},
		{"step at a change of spool", newWorkshop(seed).wind(40, "SP-07", unmoved).wind(30, "SP-08", movedBy(0.012)).coils, ordinary()},
		{"spool within a slope", newWorkshop(seed).wind(30, "SP-07", rising(0)).wind(30, "SP-08", rising(30)).coils, ordinary()},
		{"slope that ended", newWorkshop(seed).wind(40, "SP-1", rising(0)).wind(40, "SP-2", unmoved).coils, ordinary()},
		{"several steps", newWorkshop(seed).wind(30, "SP-1", unmoved).wind(25, "SP-2", movedBy(-0.01)).
			wind(30, "", movedBy(0.01)).wind(4, "SP-4", movedBy(0.03)).coils, ordinary()},
		{"bad coils", outliers, ordinary()},
		{"coarse meter", coarse, ordinary()},
		{"neighbours alike", alike, ordinary()},
		{"few coils", newWorkshop(seed).wind(7, "SP-1", unmoved).coils, ordinary()},
		{"one coil", newWorkshop(seed).wind(1, "SP-1", unmoved).coils, ordinary()},
		{"stuck meter", stuck, ordinary()},
		{"long series", newWorkshop(seed).wind(600, "SP-1", during(300, 600, 0.004)).wind(50, "SP-2", unmoved).coils, ordinary()},
	}
}

// goldenCauses differ in what else moved.
func goldenCauses(seed uint64) []goldenBatch {
	room := newWorkshop(seed).wind(100, "SP-1", during(50, 100, 0.012)).coils
	alone := newWorkshop(seed).wind(80, "SP-1", unmoved).coils
	for i := range room {
		*room[i].TemperatureCelsius += during(50, 100, 3)(i)
	}
	for i := range alone {
		kelvin := 3 * math.Sin(float64(i)/9)
		*alone[i].TemperatureCelsius += kelvin
		alone[i].R20Ohms *= 1 + 0.004*kelvin
	}
	winders := interleaved(seed, 80, func(c *Coil) { c.Operator, c.R20Ohms = "bo", c.R20Ohms*1.012 })
	noted := newWorkshop(seed).wind(90, "SP-1", during(45, 90, -0.012)).coils
	noted[45].Noted = "  tightened the felt\n and wound on, then looked at it for quite a while again "
	for i := 45; i < len(noted); i++ {
		noted[i].Time = noted[i].Time.Add(50 * time.Hour)
		noted[i].Doubtful = "forced"
	}
	reference := ordinary()
	reference.CheckReferenceOhms = 10050
	return []goldenBatch{
		{"meter steps", checked(seed, 100, during(50, 100, 0.01), unmoved), ordinary()},
		{"meter drifts", checked(seed, 100, func(i int) float64 { return 0.00015 * float64(i) }, unmoved), ordinary()},
		{"meter hides a drift", checked(seed, 100, during(50, 100, -0.008), during(50, 100, 0.008)), ordinary()},
		{"meter has a part", checked(seed, 100, during(50, 100, 0.004), during(50, 100, 0.008)), ordinary()},
		{"meter was mended", checked(seed, 100, during(30, 60, 0.01), unmoved), ordinary()},
		{"meter off its reference", checked(seed, 100, unmoved, movedBy(0.006)), reference},
		{"room went along", room, ordinary()},
		{"room alone", alone, ordinary()},
		{"operators in turn", winders, ordinary()},
		{"note and pause and forced coils", noted, ordinary()},
	}
}

// goldenOptions differ in what is known besides the coils.
func goldenOptions(seed uint64) []goldenBatch {
	wire := ordinary()
	wire.Winding = Winding{OutermostTurnOhms: 0.94}
	wire.Subgroup, wire.LeftOut = 5, true
	targets := newWorkshop(seed).wind(40, "SP-1", movedBy(0.02)).wind(40, "SP-2", movedBy(0.01)).coils
	for i := range 40 {
		targets[i].Target, targets[i].Turns, targets[i].Batch = "6.5 kΩ", 7800, "winter-1"
		targets[i].R20Ohms, targets[i].ComparedBy = targets[i].R20Ohms*6500/targetOhms, targetOhms/6500
	}
	kept := ordinary()
	kept.Frozen = &Baseline{MeanOhms: 6680, SigmaWithinOhms: 22, SigmaOverallOhms: 24, MeanRangeOhms: 24.8, Count: 30, UsualErrorOhms: 5}
	kept.Next = &Coil{Spool: "SP-2", Winder: "W2", Batch: "spring-3"}
	period := ordinary()
	period.BaselineFrom = time.Date(2026, 3, 2, 10, 0, 0, 0, time.UTC)
	period.BaselineTo = period.BaselineFrom.Add(5 * time.Hour)
	uncertain := newWorkshop(seed).wind(60, "SP-1", movedBy(0.004)).coils
	for i := range uncertain {
		if i%7 == 0 {
			uncertain[i].ExpandedUncertaintyOhms = 90
		}
		if i > 20 {
			uncertain[i].TemperatureCelsius, uncertain[i].CheckStandardOhms = nil, nil
		}
	}
	return []goldenBatch{
		{"turns by nominal wire", newWorkshop(seed).wind(40, "SP-1", movedBy(0.012)).coils, wire},
		{"nothing known", newWorkshop(seed).wind(50, "SP-1", during(25, 50, 0.01)).coils, Options{FalseAlarms: quickFalseAlarms}},
		{"two targets", targets, ordinary()},
		{"kept baseline", newWorkshop(seed).wind(40, "SP-1", movedBy(-0.009)).coils, kept},
		{"baseline of a period", uncertain, period},
	}
}

// goldenText is a whole report, one field a line; of a field too long to read,
// which is the points and charts of many coils, its digest.
func goldenText(t *testing.T, b goldenBatch) []byte {
	const mostReadable = 2_000
	var text bytes.Buffer
	r := analysed(t, b.coils, b.options)
	fields := reflect.ValueOf(r)
	for i := range fields.NumField() {
		encoded, err := json.Marshal(fields.Field(i).Interface())
		if err != nil {
			t.Fatal(err)
		}
		if len(encoded) > mostReadable {
			encoded = fmt.Appendf(nil, "%d bytes, sha256 %x", len(encoded), sha256.Sum256(encoded))
		}
		if fields.Type().Field(i).Name != "Conventions" {
			fmt.Fprintf(&text, "%s: %s\n", fields.Type().Field(i).Name, encoded)
		}
	}
	for _, f := range r.Facts() {
		fmt.Fprintf(&text, "fact %s: %s\n", f.Name, f.Value)
	}
	return text.Bytes()
}

// Every number and every sentence of whole reports stays as it is, whatever is
// moved about in the program. After a change that is meant to show, go test -run
// TestGoldenReports -update writes them anew, for the difference to be read.
func TestGoldenReports(t *testing.T) {
	t.Parallel()
	if runtime.GOARCH != "amd64" {
		t.Skip("the last digits differ where the processor multiplies and adds in one step")
	}
	for _, b := range goldenBatches(1) {
		got := goldenText(t, b)
		path := filepath.Join("testdata", "reports", strings.ReplaceAll(b.name, " ", "-")+".txt")
		if *updateGolden {
			if err := os.WriteFile(path, got, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		wanted := strings.Split(string(want), "\n")
		for i, line := range strings.Split(string(got), "\n") {
			if i >= len(wanted) || line != wanted[i] {
				t.Errorf("%s, line %d: got\n%s\nwant\n%s", b.name, i+1, line, strings.Join(wanted[min(i, len(wanted)):min(i+1, len(wanted))], ""))
			}
		}
		if len(got) != len(want) {
			t.Errorf("%s: %d bytes, want %d", b.name, len(got), len(want))
		}
	}
}
