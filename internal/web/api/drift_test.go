package api

import (
	"testing"

	"coilkeep/internal/workshop"
)

// TestSpoolBookLeftOut has a book say how many coils were looked at, when there
// are more.
func TestSpoolBookLeftOut(t *testing.T) {
	t.Parallel()
	if got := answerSpools(workshop.SpoolBook{Design: "Fen", Newest: 5000}); got.NewestCoils == nil || *got.NewestCoils != 5000 {
		t.Errorf("got %+v, want the newest 5000 coils", got)
	}
	if got := answerSpools(workshop.SpoolBook{Design: "Fen"}); got.NewestCoils != nil || got.Spools == nil {
		t.Errorf("got %+v, want all coils, and a list of spools", got)
	}
}
