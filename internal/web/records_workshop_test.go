package web

import (
	"fmt"
	"math"
	"net"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/simulate"
	"coilkeep/internal/capture"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

// shopMeter is what the meter of the test shop says it is.
const shopMeter = "Elder Vale,EV-40,1207,1.2"

// capture clips a simulated coil onto a simulated bench, has the rules capture
// it, and files it under a serial of batch LM-1. The coil was never away from
// the room; it is recorded some seconds after at.
func (w *testShop) capture(t testing.TB, serial string, r20Ohms float64, at time.Time) record.Measurement {
	t.Helper()
	rig := simulate.NewBench(simulate.Config{
		Room:  simulate.Room{BaseCelsius: 21, SwingKelvin: 0.2, Period: time.Hour},
		Meter: simulate.OrdinaryMeter(), Probe: simulate.OrdinaryProbe(), Seed: 7, Now: func() time.Time { return at },
	})
	design := longMeadow()
	design.Revision = 1
	settings := capture.Settings{
		MinOhms: 100, MaxOhms: 200e3, HandsOff: 3 * time.Second, Bounce: time.Second, MaxGap: 2 * time.Second,
		Readings: 8, Window: 1500 * time.Millisecond, SlopePercentPerMinute: 0.05, Patience: 20 * time.Second,
		TimeConstant: 10 * time.Minute, MeterPercent: 0.05, MeterOhms: 0.3, LeadOhms: 0.25, LeadHalfWidthOhms: 0.05,
		ProbeHalfWidthKelvin: 0.3, CoilDifferenceKelvin: 0.5, MaxAge: 5 * time.Second,
		AlphaPerKelvin: design.AlphaPerKelvin, AlphaStandardUncertaintyPerKelvin: design.AlphaStandardUncertaintyPerKelvin,
	}
	calibrations, err := w.store.Calibrations(t.Context(), "north")
	if err != nil {
		t.Fatal(err)
	}
	if c := workshop.CalibrationInForce(calibrations, record.Meter, at, shopMeter); c != nil {
		settings.CorrectionRatio, settings.MeterCalibrationID = c.CorrectionRatio, c.ID
	}
	machine := capture.New(workshop.RulesFor(settings, design))
	begin := at
	for step := range 400 {
		at = begin.Add(time.Duration(step) * 100 * time.Millisecond)
		if step == 20 { // open clips are seen first
			rig.Attach(simulate.CopperCoil(r20Ohms, rig.RoomCelsius()))
		}
		if step%5 == 0 {
			celsius := math.Round(rig.ReadProbe()*100) / 100
			machine.Probe(driver.Reading{Time: at, Status: driver.OK, Value: celsius, Resolution: 0.01, Raw: fmt.Sprintf("T=%.2f C", celsius)})
		}
		if out := machine.Meter(meterReading(at, rig.ReadMeter())); out.Result != nil {
			return w.file(t, serial, *out.Result, design)
		}
	}
	t.Fatalf("%s was not captured: %s", serial, machine.View().Words)
	return record.Measurement{}
}

func meterReading(at time.Time, v simulate.MeterValue) driver.Reading {
	if v.Overload {
		return driver.Reading{Time: at, Status: driver.Overload, Reason: "overload", Raw: "+9.90000000E+37"}
	}
	return driver.Reading{Time: at, Status: driver.OK, Value: v.Value, Resolution: v.Resolution, Raw: fmt.Sprintf("%+.8E", v.Value)}
}

func (w *testShop) file(t testing.TB, serial string, r capture.Result, design record.Design) record.Measurement {
	t.Helper()
	batch, err := w.store.Batch(t.Context(), "LM-1")
	if err != nil {
		t.Fatal(err)
	}
	m, readings, err := workshop.NewRecord(r, workshop.Filing{Bench: "north", Serial: serial, Stage: record.StageWound, Batch: &batch,
		Design: &design, Meter: shopMeter, Probe: "line at /dev/ttyUSB1"})
	if err != nil {
		t.Fatal(err)
	}
	stored, err := w.store.Record(t.Context(), m, readings)
	if err != nil {
		t.Fatal(err)
	}
	return stored
}

// fill sends a form as a page does and follows where the answer leads.
func (w *testShop) fill(t *testing.T, path string, values url.Values) reply {
	t.Helper()
	return w.ask(t, "POST", path, values.Encode(), func(r *http.Request) {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Sec-Fetch-Site", "same-origin")
	})
}

// wantText fails the test unless the page has every text.
func wantText(t *testing.T, page string, texts ...string) {
	t.Helper()
	plain := textOf(page)
	for _, text := range texts {
		if !strings.Contains(plain, text) {
			t.Errorf("the page lacks %q; it says\n%s", text, plain)
		}
	}
}

// wantNoText fails the test when the page has one of the texts.
func wantNoText(t *testing.T, page string, texts ...string) {
	t.Helper()
	plain := textOf(page)
	for _, text := range texts {
		if strings.Contains(plain, text) {
			t.Errorf("the page has %q", text)
		}
	}
}

// dayInWords is the local day of t as pages write it.
func dayInWords(t time.Time) string { return t.Local().Format("Monday, 2 January 2006") }

// localAddress is an address that only this machine reaches.
var localAddress = net.TCPAddr{IP: net.IPv4(127, 0, 0, 1)}
