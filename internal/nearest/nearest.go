// Package nearest finds the word somebody probably meant: a configuration key,
// a command or a flag with a slip of the fingers in it.
package nearest

// Word returns the word of known that is nearest to word, and whether it is
// near enough to be offered: at most one slip per three letters, and at least
// one allowed. A slip is a letter too many, missing, wrong, or swapped with its
// neighbour (the optimal string alignment distance). Of equally near words the
// first is taken.
func Word(word string, known []string) (string, bool) {
	best, slips := "", max(1, len([]rune(word))/3)+1
	for _, candidate := range known {
		if d := distance([]rune(word), []rune(candidate)); d < slips {
			best, slips = candidate, d
		}
	}
	return best, best != ""
}

// distance counts the slips between a and b. It keeps the last three rows of
// the usual table: row i holds the distances of a[:i] to every prefix of b.
func distance(a, b []rune) int {
	before, last := make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row := make([]int, len(b)+1)
		row[0] = i
		for j := 1; j <= len(b); j++ {
			wrong := 1
			if a[i-1] == b[j-1] {
				wrong = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+wrong)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last = last, row
	}
	return last[len(b)]
}
