package words

import (
	"strconv"
	"strings"
)

// Count writes a number of things, the thing told in the singular: "1 coil",
// "2 coils".
func Count(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return strconv.Itoa(n) + " " + thing + "s"
}

// Times says how often: "once", "2 times".
func Times(n int) string {
	if n == 1 {
		return "once"
	}
	return Count(n, "time")
}

// And joins words with commas and a last "and": "a", "a and b", "a, b and c".
func And(list []string) string {
	if len(list) < 2 {
		return strings.Join(list, "")
	}
	return strings.Join(list[:len(list)-1], ", ") + " and " + list[len(list)-1]
}
