package record

// FaultKind says what sort of thing is wrong.
type FaultKind string

const (
	FaultDamage   FaultKind = "damage"   // the file itself
	FaultResult   FaultKind = "result"   // a result that its inputs do not give
	FaultVerdict  FaultKind = "verdict"  // a verdict that its result does not give
	FaultWindow   FaultKind = "window"   // a resistance that is not the mean of its readings
	FaultCapture  FaultKind = "capture"  // a measurement that its readings do not lead to
	FaultSequence FaultKind = "sequence" // a coil missing in a batch, or two in one place
	FaultRecord   FaultKind = "record"   // records that contradict each other
)

// Fault is one thing that is wrong.
type Fault struct {
	Kind FaultKind `json:"kind"`
	// ID is the measurement or batch it is about; empty when it is the file.
	ID      string `json:"id,omitempty"`
	Problem string `json:"problem"`
	Remedy  string `json:"remedy"`
}

// Report is the outcome of a verification.
type Report struct {
	Measurements int     `json:"measurements"`
	Readings     int     `json:"readings"`
	Faults       []Fault `json:"faults"`
	// CapturedAgain counts the measurements that were captured again from their
	// readings; a verification that does not do so leaves it 0.
	CapturedAgain int `json:"captured_again"`
	// NotRecomputed lists what could not be computed again because it is by other
	// rules than this program's. That is no fault of the records.
	NotRecomputed []NotRecomputed `json:"not_recomputed"`
}

// Skip counts one thing that is by other rules than the known ones.
func (r *Report) Skip(what string, rules, known int) {
	for i := range r.NotRecomputed {
		if n := &r.NotRecomputed[i]; n.What == what && n.Rules == rules {
			n.Count++
			return
		}
	}
	r.NotRecomputed = append(r.NotRecomputed, NotRecomputed{What: what, Count: 1, Rules: rules, Known: known})
}

// Of returns the faults of one kind.
func (r Report) Of(kind FaultKind) []Fault {
	var faults []Fault
	for _, f := range r.Faults {
		if f.Kind == kind {
			faults = append(faults, f)
		}
	}
	return faults
}

// NotRecomputed counts what was computed by rules that this program does not
// have.
type NotRecomputed struct {
	What  string `json:"what"` // "results", "comparisons" or "captures"
	Count int    `json:"count"`
	// Rules is the version they were computed by, Known the one at hand.
	Rules int `json:"rules"`
	Known int `json:"known"`
}
