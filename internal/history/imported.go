package history

// Imported counts what an import added.
type Imported struct {
	Designs           int `json:"designs"`
	Batches           int `json:"batches"`
	Measurements      int `json:"measurements"`
	Calibrations      int `json:"calibrations"`
	CheckMeasurements int `json:"check_measurements"`
	LeadZeros         int `json:"lead_zeros"`
	Assemblies        int `json:"assemblies"`
	Comparisons       int `json:"comparisons"`
	Baselines         int `json:"baselines"`
	StudyReadings     int `json:"study_readings"`
	CoolingCurves     int `json:"cooling_curves"`
	Soaks             int `json:"soaks"`
	Unrecorded        int `json:"unrecorded"`
	Journal           int `json:"journal"`
	// Changed counts known batches and measurements to which something was
	// added: a closing, a spool, a void.
	Changed int `json:"changed"`
	// Known counts the records that were there already.
	Known int `json:"known"`
	// LeftOut counts the rows of a CSV file that are void or superseded there.
	LeftOut int `json:"left_out"`
	// Renumbered counts the coils of a CSV file whose number in their batch is
	// not that of the file, because coils before them are not in it.
	Renumbered int `json:"renumbered"`
}

// Count is how many records there are of a kind.
type Count struct {
	Kind    string // as people say it: "Check measurements"
	Records int
}

// Added lists the counts of what came into the history, whatever they are.
func (i Imported) Added() []Count {
	return []Count{
		{"Measurements", i.Measurements},
		{"Designs", i.Designs},
		{"Batches", i.Batches},
		{"Calibrations", i.Calibrations},
		{"Check measurements", i.CheckMeasurements},
		{"Lead zeros", i.LeadZeros},
		{"Assemblies", i.Assemblies},
		{"Comparisons", i.Comparisons},
		{"Baselines", i.Baselines},
		{"Study readings", i.StudyReadings},
		{"Cooling curves", i.CoolingCurves},
		{"Soaks", i.Soaks},
		{"Coils not recorded", i.Unrecorded},
		{"Journal entries", i.Journal},
		{"Known, with news", i.Changed},
	}
}

func (i Imported) added() int {
	sum := 0
	for _, c := range i.Added() {
		sum += c.Records
	}
	return sum
}
