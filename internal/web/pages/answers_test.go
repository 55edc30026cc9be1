package pages

import (
	"reflect"
	"testing"

	"coilkeep/internal/workshop"
)

// The sentences about what recurs round to what a reader can use.
func TestRecurringSentences(t *testing.T) {
	t.Parallel()
	tally := workshop.Tally{Of: "EV-40", Count: 4, OffRatio: -0.0195}
	for _, c := range []struct {
		name      string
		recurring workshop.Recurring
		want      []string
	}{
		{"of nothing", workshop.Recurring{}, nil},
		{"one that agrees", workshop.Recurring{Count: 1, Agree: 1, SeemedOffRatio: 0.0149},
			[]string{"The one complaint agrees once it is referred to 20 °C. Beside our value for 20 °C they seemed 1 % off on average."}},
		{"all agree", workshop.Recurring{Count: 4, Agree: 4, SeemedOffRatio: 0.0151},
			[]string{"All 4 complaints agree once they are referred to 20 °C. Beside our value for 20 °C they seemed 2 % off on average."}},
		{"leaning", workshop.Recurring{Count: 5, Agree: 1, SeemedOffRatio: 0.004, Leanings: []workshop.Leaning{{By: "Our meter", Tally: tally}}},
			[]string{"1 of 5 agree once they are referred to 20 °C. Beside our value for 20 °C they seemed 0.40 % off on average.",
				"The 4 readings on coils of our meter EV-40 are 2 % low on average, more than chance: measure the check standard before " +
					"the next answer."}},
	} {
		if got := recurringSentences(c.recurring); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}
