package report_test

import (
	"testing"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
	"coilkeep/internal/report"
	"coilkeep/internal/workshop"
)

var (
	measuredAt = time.Date(2026, 3, 14, 23, 30, 0, 0, time.UTC)
	issuedAt   = time.Date(2026, 3, 20, 8, 0, 0, 0, time.UTC)
	zone       = time.FixedZone("CET", 3600) // the coil was measured on the 15th there
	maker      = report.Workshop{Name: "Kettle Lane Coils", Contact: "12 Kettle Lane, Nordhavn\nhello@kettlelane.example"}
	design     = record.Design{
		Name: "Harbour", Revision: 2, TargetOhms: 6700, LowerOhms: 6499, UpperOhms: 6901, GuardFactor: 0.5,
		GaugeAWG: 42, Turns: 7600, AlphaPerKelvin: 0.00393, AlphaStandardUncertaintyPerKelvin: 0.00005,
	}
)

// measure returns what a bench records of a coil of some R20 at 22.4 °C.
func measure(t testing.TB, serial string, r20Ohms float64) record.Measurement {
	t.Helper()
	in := r20.Inputs{
		ResistanceOhms: r20Ohms * (1 + 0.00393*2.4), Readings: 8, StandardDeviationOhms: 0.2, ResolutionOhms: 0.1,
		MeterPercent: 0.05, MeterOhms: 0.3, TemperatureCelsius: 22.4, ProbeHalfWidthKelvin: 0.3,
		CoilDifferenceHalfWidthKelvin: 0.5, AlphaPerKelvin: 0.00393, AlphaStandardUncertaintyPerKelvin: 0.00005,
	}
	result, err := r20.Evaluate(in)
	if err != nil {
		t.Fatal(err)
	}
	j, err := conformity.Judge(result.R20Ohms, result.StandardUncertaintyOhms, result.ExpandedUncertaintyOhms, design.Tolerance())
	if err != nil {
		t.Fatal(err)
	}
	return record.Measurement{
		ID: "0195c8-" + serial, Time: measuredAt, Bench: "north", Batch: "SPRING-2", Sequence: 7,
		Design: design.Name, DesignRevision: design.Revision, Serial: serial,
		ResistanceOhms: in.ResistanceOhms, TemperatureCelsius: in.TemperatureCelsius, R20Ohms: result.R20Ohms,
		ExpandedUncertaintyOhms: result.ExpandedUncertaintyOhms, CoverageFactor: result.CoverageFactor,
		Verdict: j.Verdict, ConformityProbability: j.Probability, Status: record.Recorded,
		Spool: "7A", Winder: "left", Operator: "Mo", Meter: "Wickfield,M6,0117,2.0", Probe: "line at /dev/ttyUSB1",
		Stage: "potted", AlphaPerKelvin: in.AlphaPerKelvin, Formula: r20.Formula, Inputs: in, Tolerance: design.Tolerance(),
		Notes: []string{"1 of 9 readings left out as an outlier."},
	}
}

func subject(t testing.TB) report.Subject {
	t.Helper()
	d := design
	return report.Subject{
		Workshop: maker, Issued: issuedAt, Zone: zone, Certified: workshop.Certified{
			Measurement: measure(t, "HN-0042", 6690), Design: &d,
			Meter: &record.Calibration{ID: "c1", Time: measuredAt.AddDate(0, -2, 0), Bench: "north", Role: record.Meter, Certificate: "W-2210",
				DueAt: measuredAt.AddDate(0, 10, 0)},
			Probe: &record.Calibration{ID: "c2", Time: measuredAt.AddDate(-2, 0, 0), Bench: "north", Role: record.Probe,
				DueAt: measuredAt.AddDate(-1, 0, 0)},
		}}
}

func assembly(t testing.TB) report.Subject {
	t.Helper()
	s := subject(t)
	together := measure(t, "PAIR-7", 13170)
	together.Verdict, together.Tolerance, together.Design = "", conformity.Tolerance{}, ""
	s.Assembly = &workshop.CertifiedAssembly{Serial: "PAIR-7", Second: measure(t, "HN-0043", 6480), Together: &together}
	return s
}

func certificate(t testing.TB, s report.Subject) *report.Certificate {
	t.Helper()
	c, err := report.NewCertificate(s)
	if err != nil {
		t.Fatal(err)
	}
	return c
}
