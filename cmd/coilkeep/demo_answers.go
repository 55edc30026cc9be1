package main

import (
	"context"
	"fmt"
	"math"

	"coilkeep/internal/workshop"
)

// demoCall is somebody who measured a coil of the invented workshop.
type demoCall struct {
	serial string
	// celsius is where the coil was, and throughOhms what lay across it there.
	celsius, throughOhms float64
	told                 workshop.ComparisonRequest
}

// demoCalls are such as every workshop gets.
func demoCalls() []demoCall {
	mild := workshop.OutsideReading{Temperature: "13", Clips: "leads"}
	atJack := workshop.OutsideReading{Temperature: "21", Clips: "jack"}
	const meter = "a handheld"
	return []demoCall{
		{"HL-0004", 6.5, 0, workshop.ComparisonRequest{TheirMeter: meter, Note: "wrote as soon as the parcel was open"}},
		{"HL-0011", 13, 0, workshop.ComparisonRequest{TheirMeter: meter, OutsideReading: mild, Note: "has a workshop without a stove"}},
		{"HL-0017", 21, 250e3, workshop.ComparisonRequest{TheirMeter: meter, OutsideReading: atJack,
			OutsideMeter: workshop.OutsideMeter{Control: "250k"}, Note: "measured through the lead to the amplifier"}},
	}
}

// answer has the workshop answer its buyers: each reads what a coil like theirs
// has where they are, to the 10 Ω that a handheld shows.
func (p *past) answer(ctx context.Context) error {
	for _, call := range demoCalls() {
		if err := p.take(ctx, call); err != nil {
			return fmt.Errorf("answer about %s: %w", call.serial, err)
		}
	}
	return nil
}

func (p *past) take(ctx context.Context, call demoCall) error {
	coil, err := p.store.Coil(ctx, call.serial)
	if err != nil {
		return err
	}
	m := coil.Measurements[0]
	ohms := m.R20Ohms * (1 + m.AlphaPerKelvin*(call.celsius-20))
	if call.throughOhms > 0 {
		ohms = 1 / (1/ohms + 1/call.throughOhms)
	}
	call.told.Serial = workshop.Text(call.serial)
	call.told.Theirs = workshop.Text(fmt.Sprintf("%.2fk", math.Round(ohms/10)/100))
	q, err := call.told.Ask(ctx, p.store)
	if err != nil {
		return err
	}
	c, err := workshop.Compare(q)
	if err != nil {
		return err
	}
	c.Letter, c.By = c.Result.Answer, "Wren"
	_, err = p.store.AddComparison(ctx, c)
	return err
}
