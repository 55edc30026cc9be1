package drift

import (
	"fmt"
	"strings"
	"testing"
)

// What stands in short is a field of its own, and whole also where a serial number
// holds a colon.
func TestHeadlinesAreWhole(t *testing.T) {
	coils := newWorkshop(3).wind(45, "SP-07", unmoved).coils
	for i := range coils {
		coils[i].Serial = fmt.Sprintf("lot: %d", i+1)
	}
	last := &coils[44]
	last.R20Ohms = targetOhms * 0.9
	r := analysed(t, coils, ordinary())
	o := r.Outliers[len(r.Outliers)-1]
	if !strings.HasPrefix(o.Finding, "coil 45 (lot: 45) stands apart, -10.0 %") || !strings.HasPrefix(o.Suspicion,
		"look for ") || o.Sentence != o.Finding+": "+o.Suspicion {
		t.Errorf("outlier %+v", o)
	}
	if a := r.Advice; a.Do != "leave it alone" || a.Why == "" || a.Headline != a.Do+": "+a.Why {
		t.Errorf("advice %+v", a)
	}
	last.R20Ohms = targetOhms * 1.0125 // beyond three sigma, and no outlier
	r = analysed(t, coils, ordinary())
	if !strings.HasPrefix(r.Headline, "Coil 45 (lot: 45) raises ") || !strings.HasSuffix(r.Headline, "no step or trend is established yet") {
		t.Errorf("headline %q", r.Headline)
	}
	r = analysed(t, newWorkshop(1).wind(40, "SP-07", unmoved).wind(40, "SP-08", movedBy(0.012)).coils, ordinary())
	if a := r.Advice; !strings.HasPrefix(a.Do, "take off ") || a.Why != "" || a.Headline != a.Do {
		t.Errorf("advice %+v", a)
	}
}
