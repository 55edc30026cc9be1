package conformity

// Words says the verdict for people: "in tolerance", "too high", "too low",
// "undecided"; "not judged" for a coil that had nothing to be judged by.
func (v Verdict) Words() string {
	switch v {
	case In:
		return "in tolerance"
	case High:
		return "too high"
	case Low:
		return "too low"
	case Undecided:
		return "undecided"
	}
	return "not judged"
}
