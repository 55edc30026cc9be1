package demo

import (
	"context"
	"fmt"
	"math"

	"coilkeep/internal/workshop"
)

// call is somebody who measured a coil of the invented workshop.
type call struct {
	serial string
	// celsius is where the coil was, and throughOhms what lay across it there.
	celsius, throughOhms float64
	told                 workshop.ComparisonRequest
}

// calls are such as every workshop gets.
func calls() []call {
	mild := workshop.OutsideReading{Temperature: "13", Clips: "leads"}
	atJack := workshop.OutsideReading{Temperature: "21", Clips: "jack"}
	const meter = "a handheld"
	return []call{
		{"HL-0004", 6.5, 0, workshop.ComparisonRequest{TheirMeter: meter, Note: "wrote as soon as the parcel was open"}},
		{"HL-0011", 13, 0, workshop.ComparisonRequest{TheirMeter: meter, OutsideReading: mild, Note: "has a workshop without a stove"}},
		{"HL-0017", 21, 250e3, workshop.ComparisonRequest{TheirMeter: meter, OutsideReading: atJack,
			OutsideMeter: workshop.OutsideMeter{Control: "250k"}, Note: "measured through the lead to the amplifier"}},
	}
}

// answer has the workshop answer its buyers: each reads what a coil like theirs
// has where they are, to the 10 Ω that a handheld shows.
func (p *Past) answer(ctx context.Context) error {
	for _, c := range calls() {
		if err := p.take(ctx, c); err != nil {
			return fmt.Errorf("answer about %s: %w", c.serial, err)
		}
	}
	return nil
}

func (p *Past) take(ctx context.Context, c call) error {
	coil, err := p.store.Coil(ctx, c.serial)
	if err != nil {
		return err
	}
	m := coil.Measurements[0]
	ohms := m.R20Ohms * (1 + m.AlphaPerKelvin*(c.celsius-20))
	if c.throughOhms > 0 {
		ohms = 1 / (1/ohms + 1/c.throughOhms)
	}
	c.told.Serial = workshop.Text(c.serial)
	c.told.Theirs = workshop.Text(fmt.Sprintf("%.2fk", math.Round(ohms/10)/100))
	q, err := c.told.Ask(ctx, p.store)
	if err != nil {
		return err
	}
	answer, err := workshop.Compare(q)
	if err != nil {
		return err
	}
	answer.Letter, answer.By = answer.Result.Answer, "Wren"
	_, err = p.store.AddComparison(ctx, answer)
	return err
}
