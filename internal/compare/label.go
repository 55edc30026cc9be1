package compare

// labels name the causes for people.
var labels = map[Cause]string{
	MeterAccuracy: "only the meter", Temperature: "temperature", ParallelControl: "volume or tone control across it",
	ControlPosition: "volume control not fully up", ParallelHands: "fingers on the probes",
	SeriesContact: "poor contact", WiringSeries: "both coils in series", WiringParallel: "both coils in parallel",
	WiringSingle: "one coil of the two", MainsHum: "mains hum", RangeOrUnit: "range or unit slip",
	OtherCoil: "another coil", Repaired: "mended or rewound since", ShortedTurns: "shorted turns",
	OpenWinding: "winding partly broken", OpenPath: "something open on the way", Combination: "two things at once",
	Unexplained: "something not thought of",
}

// Label names a cause for people; one from a later version of the program keeps
// the name that programs use.
func (c Cause) Label() string {
	if words, known := labels[c]; known {
		return words
	}
	return string(c)
}
