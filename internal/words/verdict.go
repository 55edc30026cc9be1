package words

// Verdict says a verdict of package conformity: "in tolerance", "too high", "too
// low", "undecided"; "not judged" for a coil that had nothing to be judged by. It
// never stands for its colour alone. The script of the pages does the same:
// verdictWords in numbers.js.
func Verdict[V ~string](verdict V) string {
	switch verdict {
	case "in":
		return "in tolerance"
	case "high":
		return "too high"
	case "low":
		return "too low"
	case "undecided":
		return "undecided"
	}
	return "not judged"
}

// Status says how a measurement stands, by its status in package record, where that
// is not the ordinary way: "forced", "typed in", "void", "replaced"; else "".
func Status[S ~string](status S) string {
	switch status {
	case "forced", "void":
		return string(status)
	case "manual":
		return "typed in"
	case "superseded":
		return "replaced"
	}
	return ""
}
