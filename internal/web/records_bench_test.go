package web

import (
	"context"
	"fmt"

	"coilkeep/internal/bench"
	"coilkeep/internal/record"
)

// MeasureLeads stores a lead zero, or answers what a test told it to.
func (b *settableBench) MeasureLeads(ctx context.Context, who string) (record.LeadZero, error) {
	if err := b.trouble(); err != nil {
		return record.LeadZero{}, fmt.Errorf("measure the leads: %w", err)
	}
	s := b.Snapshot()
	return b.store.AddLeadZero(ctx, record.LeadZero{Bench: s.Bench, Meter: s.Meter.Label(), Ohms: 0.26, HalfWidthOhms: 0.02, Readings: 10,
		By: who})
}

// MeasureStandard stores a check measurement that is 0.01 % high.
func (b *settableBench) MeasureStandard(ctx context.Context, s bench.Standard) (record.CheckMeasurement, error) {
	if err := b.trouble(); err != nil {
		return record.CheckMeasurement{}, fmt.Errorf("measure the check standard: %w", err)
	}
	around := b.Snapshot()
	return b.store.AddCheckMeasurement(ctx, record.CheckMeasurement{Bench: around.Bench, Standard: s.Name, NominalOhms: s.NominalOhms,
		MeasuredOhms: s.NominalOhms * 1.0001, TemperatureCelsius: around.TemperatureCelsius, Meter: around.Meter.Label(), By: s.Who})
}

func (b *settableBench) trouble() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.err
}
