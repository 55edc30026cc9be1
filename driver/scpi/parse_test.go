package scpi_test

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"strconv"
	"strings"
	"testing"

	"coilkeep/driver"
	"coilkeep/driver/scpi"
)

func TestParse(t *testing.T) {
	tests := []struct {
		name, answer string
		q            driver.Quantity
		status       driver.Status
		value, step  float64
	}{
		{"NR1", "273", driver.Resistance, driver.OK, 273, 1},
		{"NR2", "0.273", driver.Resistance, driver.OK, 0.273, 0.001},
		{"NR3", "+1.234567E+03", driver.Resistance, driver.OK, 1234.567, 0.001},
		{"with a unit", "+6.690E+03OHM", driver.Resistance, driver.OK, 6690, 1},
		{"with a prefixed unit", "6.690 KOHM", driver.Resistance, driver.OK, 6690, 1},
		{"MOHM is megohm (IEEE 488.2-1992, 7.7.3.3)", "1.5MOHM", driver.Resistance, driver.OK, 1.5e6, 1e5},
		{"celsius", "+2.14E+01 CEL", driver.Temperature, driver.OK, 21.4, 0.1},
		{"a word beside the number", `"RES",+6.690E+03`, driver.Resistance, driver.Unreadable, 0, 0},
		{"empty error queue", `0,"No error"`, driver.Resistance, driver.Unreadable, 0, 0},
		{"identity with one number", "MA,IN,0,VER", driver.Resistance, driver.Unreadable, 0, 0},
		{"volts", "+1.2E-03VDC", driver.Resistance, driver.Impossible, 0, 0},
		{"overload", "+9.90000000E+37", driver.Resistance, driver.Overload, 0, 0},
		{"negative overload", "-9.9E37", driver.Resistance, driver.Overload, 0, 0},
		{"overload word", "OL MOhm", driver.Resistance, driver.Overload, 0, 0},
		{"overload dashes", "----", driver.Resistance, driver.Overload, 0, 0},
		{"overload word inf", "inf", driver.Resistance, driver.Overload, 0, 0},
		{"not a number", "9.91E37", driver.Resistance, driver.Impossible, 0, 0},
		{"not a number as a word", "NAN", driver.Resistance, driver.Impossible, 0, 0},
		{"two items", "+6.690E+03,+1.0E+00", driver.Resistance, driver.Unreadable, 0, 0},
		{"two responses", "6690;6691", driver.Resistance, driver.Unreadable, 0, 0},
		{"decimal comma", "6690,5", driver.Resistance, driver.Unreadable, 0, 0},
		{"identity", "ELDER VALE,LX-4,0,1.2", driver.Resistance, driver.Unreadable, 0, 0},
		{"function", `"RES"`, driver.Resistance, driver.Unreadable, 0, 0},
		{"nothing", "", driver.Resistance, driver.Unreadable, 0, 0},
		{"cut exponent", "6.690E+", driver.Resistance, driver.Unreadable, 0, 0},
		{"cut head", ".690E+03", driver.Resistance, driver.Unreadable, 0, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := scpi.Parse([]byte(tt.answer), tt.q)
			if got.Status != tt.status || got.Value != tt.value || got.Resolution != tt.step || got.Raw != tt.answer {
				t.Errorf("Parse(%q) = %+v, want %s %v step %v", tt.answer, got, tt.status, tt.value, tt.step)
			}
		})
	}
}

// The examples are those of testdata/scpi_misc.json.
func TestParseIdentity(t *testing.T) {
	data, err := os.ReadFile("testdata/scpi_misc.json")
	if err != nil {
		t.Fatal(err)
	}
	var table struct {
		IDN struct {
			Fields   int      `json:"fields"`
			Examples []string `json:"examples"`
		} `json:"idn"`
	}
	if err := json.Unmarshal(data, &table); err != nil || len(table.IDN.Examples) == 0 {
		t.Fatalf("the table has no identities: %v", err)
	}
	for _, text := range table.IDN.Examples {
		got, err := scpi.ParseIdentity(text)
		if err != nil {
			t.Errorf("ParseIdentity(%q): %v", text, err)
			continue
		}
		fields := []string{got.Manufacturer, got.Model, got.Serial, got.Firmware}
		for n, want := range strings.Split(text, ",") {
			if want == "0" {
				want = ""
			}
			if fields[n] != want {
				t.Errorf("ParseIdentity(%q) has %q in field %d, want %q", text, fields[n], n+1, want)
			}
		}
	}
	for _, text := range []string{"", "+6.690E+03", "6690,21.4", `-113,"Undefined header"`, `"RES"`, "OL,OL", "ready"} {
		if got, err := scpi.ParseIdentity(text); err == nil {
			t.Errorf("ParseIdentity(%q) = %+v, want it refused", text, got)
		}
	}
}

// Codes of SCPI-1999 vol. 2, 21.8.10, from memory; the worded ones are invented.
func TestWantsRemote(t *testing.T) {
	for text, want := range map[string]bool{
		`-201,"Invalid while in local"`: true, `-203,"Command protected"`: true, `531,"Set to REMOTE first"`: true,
		`-113,"Undefined header"`: false, `0,"No error"`: false, `-200,"Execution error"`: false, `12,"Locale unknown"`: false,
	} {
		entry, err := scpi.ParseQueueEntry(text)
		if err != nil || entry.WantsRemote() != want {
			t.Errorf("%s wants remote: %v (%v), want %v", text, entry.WantsRemote(), err, want)
		}
	}
}

func TestParseQueueEntry(t *testing.T) {
	f, err := os.Open("testdata/scpi_errors.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 10 {
		t.Fatalf("the table has %d rows: %v", len(rows), err)
	}
	for _, row := range rows[1:] {
		got, err := scpi.ParseQueueEntry(row[2])
		if err != nil || strconv.Itoa(got.Code) != row[0] || got.Text != row[1] {
			t.Errorf("ParseQueueEntry(%s) = %+v, %v; want %s %s", row[2], got, err, row[0], row[1])
		}
		if got.String() != row[2] {
			t.Errorf("the entry prints as %s, want %s", got, row[2])
		}
	}
	if got, err := scpi.ParseQueueEntry(`-113,"Undefined header;ABCD"`); err != nil || got.Text != "Undefined header;ABCD" {
		t.Errorf("an entry with detail = %+v, %v", got, err)
	}
	for _, text := range []string{"", "+6.690E+03", "-113", identity, "6690,21"} {
		if got, err := scpi.ParseQueueEntry(text); err == nil {
			t.Errorf("ParseQueueEntry(%q) = %+v, want it refused", text, got)
		}
	}
}

func TestParseFunction(t *testing.T) {
	for text, want := range map[string]struct {
		q     driver.Quantity
		tells bool
	}{
		`"RES"`:                        {driver.Resistance, true},
		`"FRES"`:                       {driver.Resistance, true},
		`"RES +1.0E+04,+1.0E-02"`:      {driver.Resistance, true},
		`:SENS:RES`:                    {driver.Resistance, true},
		`"TEMP:TRAN FRTD,85"`:          {driver.Temperature, true},
		`"VOLT:DC"`:                    {"", true},
		`"VOLT +1.0E+01,+1.0E-05"`:     {"", true},
		`"FREQ"`:                       {"", true},
		`NONE`:                         {"", false},
		``:                             {"", false},
		`+6.690E+03`:                   {"", false},
		"ELDER VALE,LX-4,0017,1.2":     {"", false},
		`-113,"Undefined header;FUNC"`: {"", false},
	} {
		if q, tells := scpi.ParseFunction(text); q != want.q || tells != want.tells {
			t.Errorf("ParseFunction(%q) = %q, %v; want %q, %v", text, q, tells, want.q, want.tells)
		}
	}
}

// FuzzParse holds that no answer panics, that what is no reading has a reason,
// that a value prints back the same, and that the marker, a queue entry and a
// value are never confused.
func FuzzParse(f *testing.F) {
	for _, seed := range []string{"+6.690E+03", "9.91E37", "OL MOhm", "6.690 KOHM", identity, `-113,"Undefined header"`, `"RES +1.0E+04"`,
		"1,2;3"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, answer []byte) {
		r := scpi.Parse(answer, driver.Resistance)
		if r.Status == "" || (r.Status == driver.OK) != (r.Reason == "") || r.Status != driver.OK && r.Value != 0 {
			t.Fatalf("Parse(%q) = %+v", answer, r)
		}
		if r.Status == driver.OK {
			again := scpi.Parse([]byte(strconv.FormatFloat(r.Value, 'E', -1, 64)), driver.Resistance)
			if again.Value != r.Value {
				t.Fatalf("Parse(%q) = %v, which reads back as %+v", answer, r.Value, again)
			}
		}
		if _, err := scpi.ParseQueueEntry(string(answer)); err == nil && r.Status != driver.Unreadable {
			t.Fatalf("the queue entry %q is read as %+v", answer, r)
		}
		if _, err := scpi.ParseIdentity(string(answer)); err == nil && r.Status != driver.Unreadable {
			t.Fatalf("the identity %q is read as %+v", answer, r)
		}
		_, notEntry := scpi.ParseQueueEntry(string(answer))
		_, notIdentity := scpi.ParseIdentity(string(answer))
		if notEntry == nil && notIdentity == nil {
			t.Fatalf("%q is an identity and a queue entry", answer)
		}
		scpi.ParseFunction(string(answer))
	})
}
