package main

import (
	"context"
	"fmt"
	"math"

	"coilkeep/internal/compare"
	"coilkeep/internal/enquiry"
	"coilkeep/internal/record"
)

// demoCall is somebody who measured a coil of the invented workshop.
type demoCall struct {
	serial string
	// celsius is where the coil was, and throughOhms what lay across it there.
	celsius, throughOhms float64
	told                 map[string]string
	note                 string
}

// demoCalls are such as every workshop gets.
func demoCalls() []demoCall {
	return []demoCall{
		{"HL-0004", 6.5, 0, map[string]string{}, "wrote as soon as the parcel was open"},
		{"HL-0011", 13, 0, map[string]string{"temperature": "13", "clips": "leads"}, "has a workshop without a stove"},
		{"HL-0017", 21, 250e3, map[string]string{"temperature": "21", "clips": "jack", "control": "250k"},
			"measured through the lead to the amplifier"},
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
	call.told["serial"] = call.serial
	call.told[enquiry.Theirs] = fmt.Sprintf("%.2fk", math.Round(ohms/10)/100)
	q, err := enquiry.Ask(ctx, p.store, enquiry.Told{Fields: call.told})
	if err != nil {
		return err
	}
	result, err := compare.Compare(q.Input)
	if err != nil {
		return err
	}
	_, err = p.store.AddComparison(ctx, record.Comparison{Serial: q.Serial, Measurement: q.Measurement, TheirMeter: "a handheld",
		Letter: result.Answer, Note: call.note, By: "Wren", Input: q.Input, Result: result})
	return err
}
