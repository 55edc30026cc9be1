package pages

import (
	"fmt"
	"math"
	"net/http"
	"strings"

	"coilkeep/internal/record"
	"coilkeep/internal/words"
	"coilkeep/internal/workshop"
)

// overseen is how many of the newest comparisons are looked over for patterns,
// shownAnswers how many of them are listed.
const (
	overseen     = 500
	shownAnswers = 100
)

// answersView is the page over all comparisons.
type answersView struct {
	frame
	Recurring workshop.Recurring
	// Sentences says what the workshop should see in it.
	Sentences []string
	List      []record.Comparison
	// Older is true when there are more comparisons than were looked over.
	Older bool
}

func (s answerPages) answersPage(w http.ResponseWriter, r *http.Request) error {
	list, next, err := s.History.Comparisons(r.Context(), record.ComparisonFilter{Limit: overseen})
	if err != nil {
		return err
	}
	recurring := workshop.RecurringIn(list)
	return s.renderPage(w, "answer/list", answersView{
		frame: s.frame(answersSection, "Answers to buyers"), Recurring: recurring, Sentences: recurringSentences(recurring),
		List: list[:min(len(list), shownAnswers)], Older: next != "",
	})
}

// recurringSentences say what the workshop should see in what recurs; nil when
// there is nothing.
func recurringSentences(r workshop.Recurring) []string {
	if r.Count == 0 {
		return nil
	}
	seemed := fmt.Sprintf("Beside our value for 20 °C they seemed %s off on average.", words.Percent(r.SeemedOffRatio))
	agree := fmt.Sprintf("%d of %d agree once they are referred to 20 °C. ", r.Agree, r.Count)
	switch {
	case r.Count == 1 && r.Agree == 1:
		agree = "The one complaint agrees once it is referred to 20 °C. "
	case r.Agree == r.Count:
		agree = fmt.Sprintf("All %d complaints agree once they are referred to 20 °C. ", r.Count)
	}
	said := []string{agree + seemed}
	for _, l := range r.Leanings {
		side := "high"
		if l.OffRatio < 0 {
			side = "low"
		}
		said = append(said, fmt.Sprintf("The %d readings on coils of %s %s are %s %s on average, more than chance: measure the check "+
			"standard before the next answer.", l.Count, strings.ToLower(l.By), l.Of, words.Percent(math.Abs(l.OffRatio)), side))
	}
	return said
}

// causeCounts writes causes with how often each fits best.
func causeCounts(counts []workshop.CauseCount) string {
	var list []string
	for _, c := range counts {
		list = append(list, fmt.Sprintf("%s %d", c.Cause.Label(), c.Count))
	}
	return strings.Join(list, ", ")
}
