package history

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"coilkeep/internal/record"
	"coilkeep/internal/sheet"
)

// What the display of a meter showed has a last digit; a mean has none.
func TestCSVResolution(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]float64{
		"6690": 1, "6690.50": 0.01, "6.69E+03": 10, "-0.05": 0.01, "0006690.1234": 0.0001,
		"6999.926666666666": 0, "20.799235408813207": 0,
	} {
		coils, _, err := readTyped(strings.NewReader("serial,time,resistance_ohms,temperature_celsius\nA,2019-05-02T16:20:00Z,"+text+",21\n"),
			oldBench)
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		if got := coils[0].ohms.resolution(); math.Abs(got-want) > 1e-12 {
			t.Errorf("%s: resolution %g, want %g", text, got, want)
		}
	}
}

// What the parser takes it takes again as it would be written.
func FuzzReadTyped(f *testing.F) {
	f.Add("serial,time,resistance_ohms,temperature_celsius\nA,2019-05-02T16:20:00Z,6690,21\n")
	f.Add("\ufeffserial;time\n")
	f.Add("id,serial,time,resistance_ohms,temperature_celsius,batch,sequence,reason,r20_ohms\r\n" +
		"x,'=A,2019-05-02T16:20:00+02:00,6.69E+03,-21.5,M,2,\"a\nb\",6e3\r\n,,,,,,,,\r\n")
	f.Fuzz(func(t *testing.T, text string) {
		coils, _, err := readTyped(strings.NewReader(text), oldBench)
		if err != nil {
			return
		}
		var list []map[string]string
		for _, c := range coils {
			m := c.m
			row := map[string]string{"time": m.Time.Format(record.TimeLayout), "resistance_ohms": c.ohms.text, "temperature_celsius": c.celsius.text,
				"expanded_uncertainty_ohms": c.toldU.text, "coverage_factor": c.toldK.text, "r20_ohms": c.r20Ohms.text,
				"conformity_probability": c.probability.text, "alpha_per_kelvin": c.alpha.text, "status": string(m.Status),
				"verdict": sheet.Guard(string(m.Verdict))}
			for name, cell := range map[string]string{"id": m.ID, "bench": m.Bench, "batch": m.Batch, "design": m.Design, "serial": m.Serial,
				"reason": m.Reason,
				"spool":  m.Spool, "winder": m.Winder, "operator": m.Operator, "meter": m.Meter, "probe": m.Probe, "stage": m.Stage} {
				row[name] = sheet.Guard(cell)
			}
			if m.Sequence != 0 {
				row["sequence"] = strconv.Itoa(m.Sequence)
			}
			if m.DesignRevision != 0 {
				row["design_revision"] = strconv.Itoa(m.DesignRevision)
			}
			for _, n := range []csvNumber{c.ohms, c.celsius, c.toldU, c.toldK, c.r20Ohms, c.probability, c.alpha} {
				if math.IsNaN(n.value) || math.IsInf(n.value, 0) || n.step < 0 {
					t.Fatalf("%q was taken for %+v", n.text, n)
				}
			}
			list = append(list, row)
		}
		back, _, err := readTyped(strings.NewReader(written(t, list)), oldBench)
		if err != nil || len(back) != len(coils) {
			t.Fatalf("%q does not come back: %v", text, err)
		}
		for i, c := range coils {
			b := back[i]
			b.line = c.line
			if fmt.Sprintf("%+v", b) != fmt.Sprintf("%+v", c) {
				t.Fatalf("%+v came back as %+v", c, b)
			}
		}
	})
}
