package workshop

import (
	"context"
	"errors"
	"fmt"

	"coilkeep/internal/conformity"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// AssemblyRequest asks to keep that two coils are sold as one. Where one of its
// numbers is in an earlier assembly it is refused, unless that is to be taken apart.
type AssemblyRequest struct {
	// Serial number of the two together; both in series may be measured under it.
	Serial string `json:"serial"`
	// Serial number of the first coil.
	First string `json:"first"`
	// Serial number of the second coil.
	Second string `json:"second"`
	// Anything else.
	Note string `json:"note,omitempty"`
	// Who assembled them; left out: who sends this.
	By string `json:"by,omitempty"`
	// Earlier assemblies that one of the numbers is in count no longer, and the
	// journal says so.
	TakeApart bool `json:"take_apart,omitempty"`
}

// Assembly is the record to be kept.
func (r AssemblyRequest) Assembly() record.Assembly {
	return record.Assembly{Serial: words.SerialRead(r.Serial), First: words.SerialRead(r.First), Second: words.SerialRead(r.Second),
		Note: r.Note, By: r.By}
}

// AssemblyStore is where assemblies are found.
type AssemblyStore interface {
	Assembly(ctx context.Context, serial string) (record.Assembly, error)
}

// AssemblyOf is the assembly that a serial number is in, as the whole or as a part;
// nil without one.
func AssemblyOf(ctx context.Context, store AssemblyStore, serial string) (*record.Assembly, error) {
	a, err := store.Assembly(ctx, serial)
	if errors.Is(err, record.ErrNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return &a, nil
}

// DoubtsAboutAssembly lists what speaks against selling two coils as one.
func DoubtsAboutAssembly(ctx context.Context, store CoilStore, a record.Assembly) (doubts []string, err error) {
	for _, serial := range []string{a.First, a.Second} {
		m, err := StandingMeasurement(ctx, store, serial)
		switch {
		case err != nil:
			return nil, err
		case m == nil:
			doubts = append(doubts, fmt.Sprintf("No measurement of coil %s stands.", serial))
		case m.Verdict != "" && m.Verdict != conformity.In:
			doubts = append(doubts, fmt.Sprintf("Coil %s is not within its tolerance: %s.", serial, words.Verdict(m.Verdict)))
		}
	}
	return doubts, nil
}
