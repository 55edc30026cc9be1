package nearest

import (
	"testing"

	"pgregory.net/rapid"
)

func TestWord(t *testing.T) {
	known := []string{"baud", "frame", "poll", "port", "timeout", "accuracy"}
	for _, test := range []struct{ name, word, want string }{
		{"one letter too many", "bauds", "baud"},
		{"two neighbours swapped", "prot", "port"},
		{"a letter missing", "accurcy", "accuracy"},
		{"two slips in a long word", "acuracey", "accuracy"},
		{"nothing near", "colour", ""},
		{"empty", "", ""},
	} {
		t.Run(test.name, func(t *testing.T) {
			got, ok := Word(test.word, known)
			if got != test.want || ok != (test.want != "") {
				t.Errorf("Word(%q) = %q, %v, want %q", test.word, got, ok, test.want)
			}
		})
	}
}

// The distances are worked by hand.
func TestDistance(t *testing.T) {
	for _, test := range []struct {
		a, b string
		want int
	}{
		{"", "", 0}, {"", "abc", 3}, {"abc", "", 3},
		{"batch", "batch", 0}, {"btach", "batch", 1}, {"bath", "batch", 1}, {"patch", "batch", 1},
		{"kitten", "sitting", 3}, {"ca", "abc", 3},
	} {
		if got := distance([]rune(test.a), []rune(test.b)); got != test.want {
			t.Errorf("distance(%q, %q) = %d, want %d", test.a, test.b, got, test.want)
		}
	}
}

func TestDistanceIsSymmetricAndBounded(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := []rune(rapid.StringN(0, 12, -1).Draw(t, "a"))
		b := []rune(rapid.StringN(0, 12, -1).Draw(t, "b"))
		d := distance(a, b)
		if back := distance(b, a); d != back {
			t.Errorf("distance %d one way and %d the other", d, back)
		}
		if d > max(len(a), len(b)) {
			t.Errorf("distance %d is more than replacing every letter", d)
		}
		if (d == 0) != (string(a) == string(b)) {
			t.Errorf("distance %d between %q and %q", d, string(a), string(b))
		}
	})
}
