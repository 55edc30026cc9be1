package drift

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"
	"testing/iotest"
)

func TestReadCSV(t *testing.T) {
	coils, err := ReadCSV(strings.NewReader("\ufeffsequence, Time,serial,r20_ohms,expanded_uncertainty_ohms,spool," +
		"winder,operator,temperature_celsius,check_standard_ohms\n" +
		"7,2026-03-02T08:00:00Z,HN-0007,6690.5,12,SP-07,W2,Mira,21.5,10000.2\n" +
		"8,,,6701,,,,,,\n"))
	if err != nil {
		t.Fatal(err)
	}
	c := coils[0]
	if len(coils) != 2 || c.Sequence != 7 || c.Serial != "HN-0007" || c.R20Ohms != 6690.5 || c.ExpandedUncertaintyOhms != 12 ||
		c.Spool != "SP-07" ||
		c.Winder != "W2" || c.Operator != "Mira" || *c.TemperatureCelsius != 21.5 || !slices.Equal(c.CheckStandardOhms,
		[]float64{10000.2}) || c.Time.Unix() != 1772438400 {
		t.Errorf("got %+v", c)
	}
	if d := coils[1]; d.R20Ohms != 6701 || d.TemperatureCelsius != nil || len(d.CheckStandardOhms) != 0 || !d.Time.IsZero() {
		t.Errorf("got %+v", d)
	}
	only, err := ReadCSV(strings.NewReader("r20_ohms\n6690\n6691\n"))
	if err != nil || len(only) != 2 {
		t.Errorf("got %v, %v", only, err)
	}
	export, err := ReadCSV(strings.NewReader("id,r20_ohms,status,verdict,batch\na,6690,recorded,in,spring-3\nb,6691,void,in,spring-3\n" +
		"c,6692,forced,in,spring-3\n"))
	if err != nil || len(export) != 2 || export[1].Doubtful != "forced" || export[0].Batch != "spring-3" {
		t.Errorf("an export gives %+v, %v", export, err)
	}
}

// Coils count by batch; one measured again stands in an export twice, and only
// once as what counts.
func TestReadCSVCountsByBatch(t *testing.T) {
	coils, err := ReadCSV(strings.NewReader("sequence,r20_ohms,batch,status\n1,6690,a,recorded\n2,6691,a,superseded\n1,6700,b,recorded\n" +
		"2,6692,a,recorded\n2,6701,b,recorded\n"))
	if err != nil || len(coils) != 4 {
		t.Errorf("got %v, %v", coils, err)
	}
}

// A coil measured again days later stands in an export behind all others; it goes
// where it was wound, at the time it was wound.
func TestReadCSVOfCoilsMeasuredAgain(t *testing.T) {
	const header = "sequence,time,serial,r20_ohms,batch,status\n"
	coils, err := ReadCSV(strings.NewReader(header +
		"1,2026-03-02T08:00:00Z,a,6690,x,recorded\n" +
		"2,2026-03-02T08:10:00Z,b,-5,x,superseded\n" +
		"3,2026-03-02T08:20:00Z,c,6692,x,recorded\n" +
		"4,2026-03-02T08:30:00Z,d,6693,x,void\n" +
		"1,2026-03-02T08:35:00Z,e,6694,y,recorded\n" +
		"2,2026-03-04T08:00:00Z,b,6691,x,superseded\n" +
		"2,2026-03-05T08:00:00Z,b,6695,x,recorded\n"))
	var got []string
	for _, c := range coils {
		got = append(got, fmt.Sprint(c.Serial, c.R20Ohms, c.WoundAt().Format(" 2 15:04")))
	}
	if want := []string{"a6690 2 08:00", "b6695 2 08:10", "c6692 2 08:20", "e6694 2 08:35"}; err != nil || !slices.Equal(got, want) {
		t.Errorf("got %q, %v; want %q", got, err, want)
	}
	for name, rows := range map[string]struct{ text, says string }{
		"twice after all": {"1,,a,6690,x,recorded\n2,,b,6691,x,superseded\n2,,b,6691,x,recorded\n2,,b,6691,x,recorded\n",
			"line 5, column sequence: coil 2 stands there twice"},
		"a later stage": {"1,,a,6690,x,superseded\n2,,b,6691,x,recorded\n1,,a,6691,x,recorded\n1,,a,6691,x,recorded\n",
			"line 5, column sequence: coil 1 stands there twice"},
		"place out of order": {"1,,a,6690,x,recorded\n3,,c,6691,x,recorded\n2,,b,6691,x,superseded\n2,,b,6691,x,recorded\n",
			"line 5, column sequence: coil 2 comes after coil 3"},
		"between wrong ones": {"5,,a,6690,x,recorded\n2,,b,6691,x,superseded\n7,,c,6691,x,recorded\n2,,b,6691,x,recorded\n",
			"line 5, column sequence: coil 2 comes after coil 7"},
		"after one that moved": {"1,,a,6690,x,recorded\n3,,c,6691,x,superseded\n3,,c,6691,x,recorded\n2,,b,6691,x,recorded\n",
			"line 5, column sequence: coil 2 comes after coil 3"},
	} {
		if _, err := ReadCSV(strings.NewReader(header + rows.text)); err == nil || !strings.Contains(err.Error(), rows.says) {
			t.Errorf("%s: got %v, want %q", name, err, rows.says)
		}
	}
	late, err := ReadCSV(strings.NewReader(header + "1,,a,6690,x,recorded\n3,,c,6691,x,superseded\n2,,b,6691,x,recorded\n" +
		"3,,c,6692,x,recorded\n"))
	if err != nil || len(late) != 3 || late[1].Sequence != 2 || late[2].Sequence != 3 {
		t.Errorf("a place too early: %+v, %v; want the coils in order", late, err)
	}
}

// No fault is a mark before quoted names, a status in capitals, batches in turn
// (one may go without numbers), a time that runs back where numbers tell the
// order, or a number as a spreadsheet writes it.
func TestReadCSVTakes(t *testing.T) {
	for name, tt := range map[string]struct {
		text  string
		coils int
	}{
		"mark and quotes":     {"\ufeff\"sequence\",\"r20_ohms\"\r\n1,6690\r\n2,6691\r\n", 2},
		"status in capitals":  {"r20_ohms,status\n6690,VOID\n6691,Void\n6692,Superseded\n6693,Recorded\n6694,Manual\n6695,\n", 3},
		"faults left out":     {"r20_ohms,status,time,temperature_celsius\n-5,void,,\n,superseded,yesterday,400\n6690,recorded,,\n", 1},
		"a batch not counted": {"sequence,r20_ohms,batch\n1,6690,a\n,6700,\n2,6691,a\n,6701,\n", 4},
		"batches in turn": {"time,r20_ohms,batch\n2026-01-31T15:04:00Z,6690,a\n2026-01-30T15:04:00Z,6700,b\n2026-01-31T15:04:00Z,6691,a\n" +
			"2026-01-30T15:05:00Z,6701,b\n", 4},
		"measured later": {"sequence,time,r20_ohms\n1,2026-01-31T15:04:00Z,6690\n2,2026-01-30T15:04:00Z,6691\n", 2},
		"numbers":        {"r20_ohms\n6.69E+03\n+6690.\n6690.50\n", 3},
		"text":           {"r20_ohms\u00a0,operator,spool\n6690,\"Åsa, Mira\",Rolle 3 µ\n", 1},
	} {
		t.Run(name, func(t *testing.T) {
			coils, err := ReadCSV(strings.NewReader(tt.text))
			if err != nil || len(coils) != tt.coils {
				t.Errorf("got %+v, %v; want %d coils", coils, err, tt.coils)
			}
		})
	}
	forced, err := ReadCSV(strings.NewReader("r20_ohms,status\n6690,FORCED\n"))
	if err != nil || forced[0].Doubtful != "forced" {
		t.Errorf("got %+v, %v; want it marked as forced", forced, err)
	}
}

// A file that cannot be read to its end is no short file.
func TestReadCSVFailing(t *testing.T) {
	lost := errors.New("the stick was pulled")
	for _, text := range []string{"", "r2", "r20_ohms\n6690\n"} {
		if _, err := ReadCSV(io.MultiReader(strings.NewReader(text), iotest.ErrReader(lost))); !errors.Is(err, lost) {
			t.Errorf("after %q: got %v, want %v", text, err, lost)
		}
	}
}

// An export puts an apostrophe before what a spreadsheet would run.
func TestReadCSVOfGuardedText(t *testing.T) {
	coils, err := ReadCSV(strings.NewReader("serial,r20_ohms,spool\n'-7,6690,'=A\n'tis,6691,+B\n"))
	if err != nil || coils[0].Serial != "-7" || coils[0].Spool != "=A" || coils[1].Serial != "'tis" || coils[1].Spool != "+B" {
		t.Errorf("got %+v, %v", coils, err)
	}
}

// Exports write 0 for coils of no batch, and spreadsheets rows of commas.
func TestReadCSVOfSpreadsheets(t *testing.T) {
	coils, err := ReadCSV(strings.NewReader("sequence,r20_ohms,batch,status\n0,6690,,recorded\n0,6691,,recorded\n,,,\n"))
	if err != nil || len(coils) != 2 || coils[1].Sequence != 0 {
		t.Errorf("got %v, %v", coils, err)
	}
}

func TestReadCSVRefuses(t *testing.T) {
	for name, tt := range map[string]struct{ text, says string }{
		"nothing":        {"", "no drift analysis from this: the file is empty"},
		"no coils":       {"r20_ohms\n", "no coils in the file"},
		"no column":      {"serial\nHN-1\n", "no column r20_ohms"},
		"unknown column": {"r20_ohm\n6690\n", "did you mean r20_ohms?"},
		"decimal comma":  {"r20_ohms\n\"6690,5\"\n", `no drift analysis from this: line 2, column r20_ohms: "6690,5" is not a number`},
		"empty":          {"serial,r20_ohms\na,6690\nb,\n", "line 3, column r20_ohms: is empty"},
		"negative":       {"r20_ohms\n-5\n", "line 2, R20 of -5 ohms"},
		"beyond":         {"r20_ohms\n1e13\n", "line 2, R20 of 1e+13 ohms"},
		"underscore":     {"r20_ohms,temperature_celsius\n6690,2_1\n", `line 2, column temperature_celsius: "2_1"`},
		"standard":       {"r20_ohms,check_standard_ohms\n6690,x\n", `line 2, column check_standard_ohms: "x"`},
		"uncertainty":    {"r20_ohms,expanded_uncertainty_ohms\n6690,x\n", `line 2, column expanded_uncertainty_ohms: "x"`},
		"coverage":       {"r20_ohms,coverage_factor\n6690,x\n", `line 2, column coverage_factor: "x"`},
		"bare comma":     {"sequence,r20_ohms\n1,6690,5\n", "line 2: cells: 3, and columns: 2"},
		"status": {"r20_ohms,status\n6690,banana\n",
			`line 2, column status: "banana" is not known; a status is one of recorded, forced, manual, void, superseded`},
		"escape":    {"r20_ohms,spool\n6690,\x1b[31mred\n", `line 2, column spool: "\x1b[31mred" will not do; write plain text`},
		"two lines": {"r20_ohms,winder\n6690,\"W\n2\"\n", `column winder: "W\n2"`},
		"bell":      {"r20_ohms,operator\n6690,Mi\ara\n", "column operator"},
		"zero byte": {"r20_ohms,serial\n6690,HN\x00-1\n", "column serial"},
		"not UTF-8": {"r20_ohms,batch\n6690,Fr\xfchling\n", "column batch"},
		"time":      {"r20_ohms,time\n6690,yesterday\n", "2026-01-31T15:04:00Z"},
		"sequence":  {"r20_ohms,sequence\n6690,0\n", "column sequence: \"0\" will not do; write a whole number, at least 1"},
		"sequence begins": {"sequence,r20_ohms\n,6690\n1,6691\n",
			"line 3, column sequence: some coils of a batch have a number and some have none; fill in all or none"},
		"sequence ends": {"sequence,r20_ohms,batch\n1,6690,a\n1,6690,b\n,6691,a\n", "line 4, column sequence: some coils"},
		"time runs back": {"r20_ohms,time\n6690,2026-01-31T15:04:00Z\n6691,\n6692,2026-01-31T16:03:59+01:00\n",
			"line 4, column time: 2026-01-31T16:03:59+01:00 comes after 2026-01-31T15:04:00Z; rows go in the order of winding"},
		"coil twice":      {"sequence,r20_ohms\n1,6690\n2,6691\n2,6700\n", "line 4, column sequence: coil 2 stands there twice"},
		"out of order":    {"sequence,r20_ohms\n5,6690\n4,6691\n", "line 3, column sequence: coil 4 comes after coil 5"},
		"impossible heat": {"r20_ohms,temperature_celsius\n6690,400\n", "temperature 400"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := ReadCSV(strings.NewReader(tt.text))
			if err == nil || !strings.Contains(err.Error(), tt.says) {
				t.Errorf("got %v, want an error that says %q", err, tt.says)
			}
			if !errors.Is(err, ErrInput) {
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
	f.Add("r20_ohms,temperature_celsius,check_standard_ohms\n6690,21,10000\n6690,21,10000\n6690,21,10000\n6690,21,10000\n6690,21,10000\n" +
		"6690,21,10001\n1e300,21,1e-300\n")
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
