package pages

import (
	"coilkeep/internal/copper"
	"coilkeep/internal/record"
)

// windingView says what a resistance means in wire of one gauge. Turns, and all
// that is of a turn, are nil without a bobbin.
type windingView struct {
	Gauge        int
	Own          bool // the design's own gauge
	DiameterMM   float64
	OhmsPerMetre float64
	LengthMetres float64
	Turns        *float64
	// MeanTurnOhms and OutermostTurnOhms are of one turn at 20 °C.
	MeanTurnOhms, OutermostTurnOhms *float64
}

// wireView says what a design means in wire.
type wireView struct {
	// Own is the design's own gauge; Gauges holds it among its neighbours.
	Own    windingView
	Gauges []windingView
	// MeanTurnMM is 0 without a bobbin.
	MeanTurnMM float64
	// Nominal is what the turns of the design measure on its bobbin; nil
	// when either is not told.
	Nominal *float64
	// LeastOhms to GreatestOhms is what the standard for the wire lets the
	// nominal length of the target measure; both 0 when not known.
	LeastOhms, GreatestOhms float64
	// PerTurnOhms is target over turns, where turns are told; 0 otherwise.
	PerTurnOhms float64
	// Trouble says why a design that names a gauge means nothing in wire.
	Trouble string
}

// newWireView works out what a design means in wire; nil when it names no
// gauge. Wire has the diameters that define the American wire gauge and the
// conductivity that the design's temperature coefficient stands for.
func newWireView(d record.Design) *wireView {
	if d.GaugeAWG == 0 {
		return nil
	}
	view := &wireView{}
	own, err := windingOfDesign(d, d.GaugeAWG)
	if err != nil {
		view.Trouble = err.Error()
		return view
	}
	own.Own = true
	view.Own = own
	for gauge := d.GaugeAWG - 1; gauge <= d.GaugeAWG+1; gauge++ {
		switch {
		case gauge == d.GaugeAWG:
			view.Gauges = append(view.Gauges, own)
		case gauge >= copper.MinGauge && gauge <= copper.MaxGauge:
			neighbour, err := windingOfDesign(d, gauge)
			if err != nil {
				view.Trouble = err.Error()
				return view
			}
			view.Gauges = append(view.Gauges, neighbour)
		}
	}
	if d.Turns > 0 {
		view.PerTurnOhms = d.TargetOhms / float64(d.Turns)
	}
	if err := view.addNominal(d); err != nil {
		view.Trouble = err.Error()
	}
	return view
}

// addNominal fills in what needs the turns, the bobbin, or the standard for
// the wire.
func (v *wireView) addNominal(d record.Design) error {
	// Magnet wire is made to the rounded diameters, whose limits are known.
	rounded, err := copper.RoundedAWG(d.GaugeAWG)
	if err != nil {
		return err
	}
	if least, greatest, ok := rounded.OhmsPerMetreLimits(); ok {
		v.LeastOhms = d.TargetOhms * least / rounded.OhmsPerMetre()
		v.GreatestOhms = d.TargetOhms * greatest / rounded.OhmsPerMetre()
	}
	if !hasBobbin(d) {
		return nil
	}
	v.MeanTurnMM = copper.Bobbin(*d.Bobbin).MeanTurnMM()
	if d.Turns == 0 {
		return nil
	}
	winding, err := windingOf(d, d.GaugeAWG)
	if err != nil {
		return err
	}
	nominal, err := winding.R20(float64(d.Turns))
	v.Nominal = &nominal
	return err
}

// hasBobbin is true when turns can be worked out.
func hasBobbin(d record.Design) bool {
	return d.Bobbin != nil && copper.Bobbin(*d.Bobbin).Check() == nil
}

// wireOf is the wire of a gauge with the conductivity of a design.
func wireOf(d record.Design, gauge int) (copper.Wire, error) {
	wire, err := copper.GeometricAWG(gauge)
	if err != nil {
		return copper.Wire{}, err
	}
	return wire.WithConductivity(d.AlphaPerKelvin / float64(copper.Standard))
}

func windingOf(d record.Design, gauge int) (copper.Winding, error) {
	wire, err := wireOf(d, gauge)
	if err != nil {
		return copper.Winding{}, err
	}
	return copper.NewWinding(wire, copper.Bobbin(*d.Bobbin))
}

// windingOfDesign says what the target of a design means in wire of a gauge.
func windingOfDesign(d record.Design, gauge int) (windingView, error) {
	wire, err := wireOf(d, gauge)
	if err != nil {
		return windingView{}, err
	}
	length, err := wire.LengthMetres(d.TargetOhms)
	if err != nil {
		return windingView{}, err
	}
	view := windingView{Gauge: gauge, DiameterMM: wire.DiameterMM(), OhmsPerMetre: wire.OhmsPerMetre(), LengthMetres: length}
	if !hasBobbin(d) {
		return view, nil
	}
	winding, err := windingOf(d, gauge)
	if err != nil {
		return windingView{}, err
	}
	turns, err := winding.Turns(d.TargetOhms)
	if err != nil {
		return windingView{}, err
	}
	mean := copper.Bobbin(*d.Bobbin).MeanTurnMM() / 1000 * wire.OhmsPerMetre()
	outermost := winding.OutermostTurnOhms()
	view.Turns, view.MeanTurnOhms, view.OutermostTurnOhms = &turns, &mean, &outermost
	return view, nil
}
