package workshop

import (
	"fmt"
	"strings"

	"coilkeep/internal/conformity"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// missesInARow is how many coils one after the other must miss their design before
// the design itself is doubted: one is a bad coil, three are hardly chance. A choice
// of ours.
const missesInARow = 3

// Misfit says that the latest coils of a batch all miss its design.
type Misfit struct {
	// Coils counts them, and LowestOhms and HighestOhms is where the latest three lie.
	Coils                   int
	LowestOhms, HighestOhms float64
	// Fits are the other designs on record within whose tolerance those lie.
	Fits []record.Design
}

// MisfitOf looks at the measurements of a batch, the newest first, and the designs on
// record. It is nil unless three coils or more in a row, the latest among them, were
// judged too high or too low.
func MisfitOf(newest []record.Measurement, designs []record.Design) *Misfit {
	var found Misfit
	seen := map[string]bool{}
	for _, m := range newest {
		if !m.Stands() || seen[m.Serial] {
			continue
		}
		if m.Verdict != conformity.High && m.Verdict != conformity.Low {
			break
		}
		seen[m.Serial] = true
		if found.Coils++; found.Coils <= missesInARow {
			if found.Coils == 1 {
				found.LowestOhms, found.HighestOhms = m.R20Ohms, m.R20Ohms
			}
			found.LowestOhms, found.HighestOhms = min(found.LowestOhms, m.R20Ohms), max(found.HighestOhms, m.R20Ohms)
		}
	}
	if found.Coils < missesInARow {
		return nil
	}
	for _, d := range designs {
		if d.Name != newest[0].Design && d.LowerOhms <= found.LowestOhms && found.HighestOhms <= d.UpperOhms {
			found.Fits = append(found.Fits, d)
		}
	}
	return &found
}

// Words say it, for the coils of a design: "The last 3 coils miss Millrace, 6.91 kΩ: they
// fit Lantern, 7.4 kΩ."
func (f Misfit) Words(of record.Design) string {
	miss := fmt.Sprintf("The last %d coils miss %s, %s: ", f.Coils, of.Name, words.Ohms(of.TargetOhms))
	if len(f.Fits) == 0 {
		return miss + "no other design on record fits them. Look at gauge, count and spool, and measure the check standard."
	}
	fits := make([]string, len(f.Fits))
	for i, d := range f.Fits {
		fits[i] = d.Name + ", " + words.Ohms(d.TargetOhms)
	}
	return miss + "they fit " + strings.Join(fits, ", or ") + ". Is the batch of the right design?"
}
