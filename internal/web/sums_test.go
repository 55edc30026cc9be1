package web

import (
	"fmt"
	"testing"
	"time"

	"coilkeep/internal/words"
)

// Two coils with shorted turns leave the mean and the spread of a batch as they
// are, and are named; the list of winders counts as the batch does.
func TestSumsAreWithoutWhatStandsApart(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.start(t)
	w.windCoils(t, 1, 30, 6750)
	for _, number := range []int{31, 32} {
		w.measure(t, fmt.Sprintf("HN-%04d", number), 6100, noon.Add(time.Duration(number-100)*time.Minute))
	}
	w.windCoils(t, 33, 33, 6750)
	rest, err := w.store.BatchStatistics(t.Context(), "LM-1", "HN-0031", "HN-0032")
	if err != nil {
		t.Fatal(err)
	}
	mean, spreadOf := words.OhmsLive(rest.MeanOhms), words.OhmsSpread(rest.StandardDeviationOhms)
	w.shows(t, "/batches/LM-1", mean, spreadOf, "without 2 that stand apart",
		`<a href="/coils/HN-0031">HN-0031</a>, <a href="/coils/HN-0032">HN-0032</a>.`)
	w.shows(t, "/benches/north/run", "33 coils, mean <b>"+mean+"</b>", spreadOf, "without 2 that stand apart")
	void := w.measure(t, "HN-0034", 6750, noon.Add(-66*time.Minute))
	if _, err := w.store.Void(t.Context(), void.ID, "wrong coil", "Ada"); err != nil {
		t.Fatal(err)
	}
	wantText(t, w.page(t, "/winders"), "W1 Long Meadow 1 33 LM-1")
}
