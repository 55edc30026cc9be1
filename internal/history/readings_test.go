package history

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
	"time"

	"coilkeep/internal/record"
)

// Readings come back to the last digit, whatever an instrument sent.
func TestReadingsComeBack(t *testing.T) {
	t.Parallel()
	const seed = 20261201
	random := rand.New(rand.NewPCG(seed, 0))
	raws := []string{"", "6690.1", "+6.69010000E+03", "T=22.40 C", "-0", "inf", "NaN", "0x1p4", "a\"\\\n\u2028<&>\uFFFD", "6690.1 "}
	values := []float64{0, math.Copysign(0, -1), 6690.1, -0.1, 16, 5e-324, math.MaxFloat64, 0.1 + 0.2}
	pick := func(n int) bool { return random.IntN(n) == 0 }
	for range 2000 {
		readings := []record.Reading{}
		for range random.IntN(12) {
			r := record.Reading{Time: firstInstant.Add(time.Duration(random.Int64N(1e12)-5e11) * time.Microsecond), Role: record.Meter,
				Raw: raws[random.IntN(len(raws))], Value: values[random.IntN(len(values))], Resolution: values[random.IntN(len(values))],
				Status: "ok", InWindow: pick(2), Outlier: pick(5)}
			if pick(3) {
				r.Role = record.Probe
			}
			if pick(4) {
				r.Status, r.Reason = "overload", raws[random.IntN(len(raws))]
			}
			if pick(20) {
				r.Time = time.Date(1, 1, 1, 0, 0, 0, 1000, time.UTC)
			}
			readings = append(readings, r)
		}
		text, err := packReadings(firstInstant, readings)
		if err != nil {
			t.Fatal(err)
		}
		back, err := unpackReadings(firstInstant, text)
		if err != nil || !reflect.DeepEqual(back, readings) {
			t.Fatalf("%+v\ncame back from %s\nas %+v, %v", readings, text, back, err)
		}
		for i, r := range readings {
			if math.Signbit(r.Value) != math.Signbit(back[i].Value) || math.Signbit(r.Resolution) != math.Signbit(back[i].Resolution) {
				t.Fatalf("%+v lost a sign in %s", r, text)
			}
		}
	}
}

// What is kept is what the comment says, and of an ordinary reading not more than
// what cannot be told from the others.
func TestReadingsAreKeptAs(t *testing.T) {
	t.Parallel()
	_, readings := sample(t, "HN-0001", 6690, firstInstant)
	text, err := packReadings(firstInstant, readings[:5])
	const want = `[[-5000000,0,"+9.90000000E+37",null,null,"overload","open leads"],[1200000,0,"6730.0",null,0.1],[200000,1,"22.4",null,` +
		`0.1],` +
		`[200000,2,"6690.3"],[200000,2,"6689.7"]]`
	if err != nil || text != want {
		t.Errorf("kept %s, %v\nwant %s", text, err, want)
	}
}

// A list that somebody spoiled is refused, not misread.
func FuzzUnpackReadings(f *testing.F) {
	for _, text := range []string{"", "[]", "[[]]", "null", `[[1,0,"6690.1"]]`, `[[1,0,"6690.1",null,null,null,null,null]]`,
		`[[1.5,0,"6690.1"]]`,
		`[["1",0,"6690.1"]]`, `[[1,7,"x",1e999]]`, `[[9223372036854775807,0,""],[9223372036854775807,0,""]]`} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		readings, err := unpackReadings(firstInstant, text)
		if err != nil {
			return
		}
		packed, err := packReadings(firstInstant, readings)
		if err != nil {
			t.Fatal(err)
		}
		if again, err := unpackReadings(firstInstant, packed); err != nil || !reflect.DeepEqual(again, readings) {
			t.Errorf("%q gives %+v, and kept again %+v, %v", text, readings, again, err)
		}
	})
}
