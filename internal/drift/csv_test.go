package drift

import (
	"errors"
	"strings"
	"testing"
)

func TestReadCSV(t *testing.T) {
	coils, err := ReadCSV(strings.NewReader("\ufeffsequence, Time,serial,r20_ohms,expanded_uncertainty_ohms,spool,winder,operator,temperature_celsius,check_standard_ohms\n" +
		"7,2026-03-02T08:00:00Z,HN-0007,6690.5,12,SP-07,W2,Mira,21.5,10000.2\n" +
		"8,,,6701,,,,,,\n"))
	if err != nil {
		t.Fatal(err)
	}
	c := coils[0]
	if len(coils) != 2 || c.Sequence != 7 || c.Serial != "HN-0007" || c.R20Ohms != 6690.5 || c.ExpandedUncertaintyOhms != 12 || c.Spool != "SP-07" ||
		c.Winder != "W2" || c.Operator != "Mira" || *c.TemperatureCelsius != 21.5 || *c.CheckStandardOhms != 10000.2 || c.Time.Unix() != 1772438400 {
		t.Errorf("got %+v", c)
	}
	if d := coils[1]; d.R20Ohms != 6701 || d.TemperatureCelsius != nil || d.CheckStandardOhms != nil || !d.Time.IsZero() {
		t.Errorf("got %+v", d)
	}
	only, err := ReadCSV(strings.NewReader("r20_ohms\n6690\n6691\n"))
	if err != nil || len(only) != 2 {
		t.Errorf("got %v, %v", only, err)
	}
	export, err := ReadCSV(strings.NewReader("id,r20_ohms,status,verdict,batch\na,6690,recorded,in,spring-3\nb,6691,void,in,spring-3\nc,6692,forced,in,spring-3\n"))
	if err != nil || len(export) != 2 || export[1].Doubtful != "forced" || export[0].Batch != "spring-3" {
		t.Errorf("an export gives %+v, %v", export, err)
	}
}

// Coils count by batch; one measured again stands in an export twice, and only
// once as what counts.
func TestReadCSVCountsByBatch(t *testing.T) {
	coils, err := ReadCSV(strings.NewReader("sequence,r20_ohms,batch,status\n1,6690,a,recorded\n2,6691,a,superseded\n1,6700,b,recorded\n2,6692,a,recorded\n2,6701,b,recorded\n"))
	if err != nil || len(coils) != 4 {
		t.Errorf("got %v, %v", coils, err)
	}
}

func TestReadCSVRefuses(t *testing.T) {
	for name, tt := range map[string]struct{ text, says string }{
		"nothing":         {"", "the file is empty"},
		"no coils":        {"r20_ohms\n", "no coils"},
		"no column":       {"serial\nHN-1\n", "no column r20_ohms"},
		"unknown column":  {"r20_ohm\n6690\n", "did you mean r20_ohms?"},
		"column twice":    {"r20_ohms,r20_ohms\n1,2\n", "comes twice"},
		"decimal comma":   {"r20_ohms\n\"6690,5\"\n", `line 2, column r20_ohms, "6690,5"`},
		"empty":           {"serial,r20_ohms\na,6690\nb,\n", "line 3, column r20_ohms"},
		"negative":        {"r20_ohms\n-5\n", "line 2, R20 of -5 ohms"},
		"infinite":        {"r20_ohms\n+Inf\n", "not a number to reckon with"},
		"time":            {"r20_ohms,time\n6690,yesterday\n", "2026-01-31T15:04:00Z"},
		"sequence":        {"r20_ohms,sequence\n6690,0\n", "counts from 1"},
		"coil twice":      {"sequence,r20_ohms\n1,6690\n2,6691\n2,6700\n", "line 4, column sequence: coil 2 comes after coil 2"},
		"out of order":    {"sequence,r20_ohms\n5,6690\n4,6691\n", "line 3, column sequence: coil 4 comes after coil 5"},
		"short line":      {"r20_ohms,spool\n6690\n", "as many cells"},
		"impossible heat": {"r20_ohms,temperature_celsius\n6690,400\n", "temperature 400"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := ReadCSV(strings.NewReader(tt.text))
			if err == nil || !strings.Contains(err.Error(), tt.says) {
				t.Errorf("got %v, want an error that says %q", err, tt.says)
			}
			if name != "short line" && !errors.Is(err, ErrInput) {
				t.Errorf("%v is not ErrInput", err)
			}
		})
	}
}

// Whatever the file holds, it is read or refused, and what is read is analysed
// or refused.
func FuzzReadCSV(f *testing.F) {
	f.Add("r20_ohms\n6690\n6691\n")
	f.Add("sequence,time,serial,r20_ohms,spool\n1,2026-03-02T08:00:00Z,HN-1,6690.5,SP-07\n2,,,6701,SP-08\n")
	f.Add("r20_ohms,temperature_celsius,check_standard_ohms\n6690,21,10000\n6690,21,10000\n6690,21,10000\n6690,21,10000\n6690,21,10000\n6690,21,10001\n1e300,21,1e-300\n")
	f.Add("r20_ohms,status\n1,void\n2,forced\n")
	f.Fuzz(func(t *testing.T, text string) {
		coils, err := ReadCSV(strings.NewReader(text))
		if err != nil {
			return
		}
		r, err := Analyse(coils, Options{FalseAlarms: quickFalseAlarms})
		if err != nil {
			if !errors.Is(err, ErrInput) {
				t.Errorf("refused with %v, which is not ErrInput", err)
			}
			return
		}
		if err := finiteJSON(r); err != nil {
			t.Errorf("%v in the report of %q", err, text)
		}
	})
}
