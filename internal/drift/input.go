package drift

import (
	"fmt"

	"coilkeep/internal/control"
)

func (c Coil) check() error {
	switch {
	case !isResistance(c.R20Ohms):
		return fmt.Errorf("R20 of %g ohms: %w; it is a number from %g to %g", c.R20Ohms, ErrInput, leastOhms, mostOhms)
	case !(c.ExpandedUncertaintyOhms >= 0 && c.ExpandedUncertaintyOhms <= mostOhms):
		return fmt.Errorf("uncertainty of %g ohms: %w; it is a number from 0 to %g", c.ExpandedUncertaintyOhms, ErrInput, mostOhms)
	case c.ComparedBy != 0 && !(c.ComparedBy > 0 && isResistance(c.R20Ohms*c.ComparedBy)):
		return fmt.Errorf("compared by a factor of %g: %w; it is one target over another", c.ComparedBy, ErrInput)
	case c.CoverageFactor != 0 && !(c.CoverageFactor >= 1 && c.CoverageFactor < 100):
		return fmt.Errorf("coverage factor %g: %w; it is at least 1", c.CoverageFactor, ErrInput)
	case c.TemperatureCelsius != nil && !(*c.TemperatureCelsius >= -50 && *c.TemperatureCelsius <= 150):
		return fmt.Errorf("temperature %g °C: %w; copper is referred to 20 °C from -50 to 150 °C", *c.TemperatureCelsius, ErrInput)
	}
	for _, ohms := range c.CheckStandardOhms {
		if !isResistance(ohms) {
			return fmt.Errorf("check standard of %g ohms: %w; it is a number from %g to %g", ohms, ErrInput, leastOhms, mostOhms)
		}
	}
	return nil
}

// leastOhms and mostOhms bound the resistances that are taken: far beyond any coil,
// and far within what the sums of the analysis can hold.
const leastOhms, mostOhms = 1e-3, 1e12

func isResistance(ohms float64) bool { return ohms >= leastOhms && ohms <= mostOhms }

func (o Options) check() error {
	for _, v := range []struct {
		name string
		ohms float64
	}{{"target", o.TargetOhms}, {"lower limit", o.LowerOhms}, {"upper limit", o.UpperOhms}} {
		if v.ohms != 0 && !isResistance(v.ohms) {
			return fmt.Errorf("%s of %g ohms: %w; it is a number from %g to %g", v.name, v.ohms, ErrInput, leastOhms, mostOhms)
		}
	}
	switch {
	case (o.LowerOhms == 0) != (o.UpperOhms == 0):
		return fmt.Errorf("one limit of the tolerance only: %w; give both", ErrInput)
	case o.UpperOhms < o.LowerOhms || o.UpperOhms != 0 && o.UpperOhms == o.LowerOhms:
		return fmt.Errorf("tolerance from %g to %g ohms: %w; the upper limit is above the lower", o.LowerOhms, o.UpperOhms, ErrInput)
	case o.TargetOhms != 0 && o.UpperOhms != 0 && (o.TargetOhms < o.LowerOhms || o.TargetOhms > o.UpperOhms):
		return fmt.Errorf("target of %g ohms: %w; it lies outside the tolerance of %g to %g", o.TargetOhms, ErrInput, o.LowerOhms, o.UpperOhms)
	case o.BaselineCount != 0 && o.BaselineCount < control.LeastBaseline:
		return fmt.Errorf("baseline of %d coils: %w; it takes %d at least, and %d are better", o.BaselineCount, ErrInput,
			control.LeastBaseline, DefaultBaseline)
	case o.Subgroup < 0 || o.Subgroup > control.MaxSubgroup:
		return fmt.Errorf("subgroups of %d: %w; they hold 2 to %d coils", o.Subgroup, ErrInput, control.MaxSubgroup)
	}
	if o.Frozen != nil {
		if err := o.Frozen.check(); err != nil {
			return err
		}
	}
	if err := o.Scheme.Check(); err != nil {
		return err
	}
	return o.Winding.check()
}
