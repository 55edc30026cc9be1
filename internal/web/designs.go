package web

import (
	"net/http"

	"coilkeep/internal/copper"
	"coilkeep/internal/record"
)

// designBody is a design as a client tells it: what is left out keeps what the
// latest revision says, or the default for a new design.
type designBody struct {
	Name       string   `json:"name"`
	TargetOhms *float64 `json:"target_ohms"`
	// TolerancePercent is how far a coil may be off its target either way; or
	// LowerOhms and UpperOhms say it.
	TolerancePercent                  *float64       `json:"tolerance_percent"`
	LowerOhms                         *float64       `json:"lower_ohms"`
	UpperOhms                         *float64       `json:"upper_ohms"`
	GuardFactor                       *float64       `json:"guard_factor"`
	GaugeAWG                          *int           `json:"gauge_awg"`
	Turns                             *int           `json:"turns"`
	Bobbin                            *record.Bobbin `json:"bobbin"`
	AlphaPerKelvin                    *float64       `json:"alpha_per_kelvin"`
	AlphaStandardUncertaintyPerKelvin *float64       `json:"alpha_standard_uncertainty_per_kelvin"`
	TimeConstantSeconds               *float64       `json:"time_constant_seconds"`
	TimeConstantRatio                 *float64       `json:"time_constant_ratio"`
	QuickShare                        *float64       `json:"quick_share"`
	QuickShareDeviation               *float64       `json:"quick_share_deviation"`
	WantedUncertaintyPercent          *float64       `json:"wanted_uncertainty_percent"`
	Note                              *string        `json:"note"`
	// Revision is the one that is changed. Where it is told and somebody has
	// revised it meanwhile, the change is refused.
	Revision *int `json:"revision"`
}

// newDesign is what a design is where nothing else is said: judged with the
// whole uncertainty as its guard band, and wound of annealed copper.
func newDesign() record.Design {
	return record.Design{
		GuardFactor:                       1,
		AlphaPerKelvin:                    float64(copper.Standard),
		AlphaStandardUncertaintyPerKelvin: copper.StandardUncertaintyPerKelvin,
	}
}

// over returns base with what b says in its place.
func (b designBody) over(base record.Design) (record.Design, error) {
	d := base
	set(&d.TargetOhms, b.TargetOhms)
	set(&d.LowerOhms, b.LowerOhms)
	set(&d.UpperOhms, b.UpperOhms)
	set(&d.GuardFactor, b.GuardFactor)
	set(&d.GaugeAWG, b.GaugeAWG)
	set(&d.Turns, b.Turns)
	set(&d.AlphaPerKelvin, b.AlphaPerKelvin)
	set(&d.AlphaStandardUncertaintyPerKelvin, b.AlphaStandardUncertaintyPerKelvin)
	if b.TimeConstantSeconds != nil && *b.TimeConstantSeconds != d.TimeConstantSeconds {
		d.TimeConstantRatio, d.QuickShare, d.QuickShareDeviation = 0, 0, 0 // they were learned with another
	}
	set(&d.TimeConstantSeconds, b.TimeConstantSeconds)
	set(&d.TimeConstantRatio, b.TimeConstantRatio)
	set(&d.QuickShare, b.QuickShare)
	set(&d.QuickShareDeviation, b.QuickShareDeviation)
	set(&d.WantedUncertaintyPercent, b.WantedUncertaintyPercent)
	set(&d.Note, b.Note)
	set(&d.Revision, b.Revision)
	if b.Bobbin != nil {
		d.Bobbin = b.Bobbin
	}

	limits := b.LowerOhms != nil && b.UpperOhms != nil
	switch {
	case b.TolerancePercent != nil && (b.LowerOhms != nil || b.UpperOhms != nil):
		return d, invalid.of("tolerance_percent", "give either tolerance_percent or lower_ohms and upper_ohms, not both")
	case b.TolerancePercent != nil:
		percent := *b.TolerancePercent
		if !(percent > 0 && percent < 100) {
			return d, invalid.of("tolerance_percent", "must be more than 0 and less than 100, not %g", percent)
		}
		d.LowerOhms = d.TargetOhms * (1 - percent/100)
		d.UpperOhms = d.TargetOhms * (1 + percent/100)
	case b.TargetOhms != nil && !limits:
		// Old limits about a new target would be a tolerance nobody asked for.
		return d, invalid.of("tolerance_percent", "is missing: say how far a coil may be off, by tolerance_percent "+
			"or by lower_ohms and upper_ohms")
	}
	return d, nil
}

// set puts value in place when it was told.
func set[T any](place *T, value *T) {
	if value != nil {
		*place = *value
	}
}

func (s *site) listDesigns(w http.ResponseWriter, r *http.Request) error {
	designs, err := s.server.History.Designs(r.Context())
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusOK, struct {
		Designs []record.Design `json:"designs"`
	}{designs})
	return nil
}

// showDesign answers with the latest revision of a design and all before it.
func (s *site) showDesign(w http.ResponseWriter, r *http.Request) error {
	revisions, err := s.server.History.DesignRevisions(r.Context(), r.PathValue("design"))
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusOK, struct {
		record.Design
		// Revisions holds every revision, the first one first.
		Revisions []record.Design `json:"revisions"`
	}{revisions[len(revisions)-1], revisions})
	return nil
}

func (s *site) addDesign(w http.ResponseWriter, r *http.Request) error {
	var body designBody
	if err := decode(w, r, &body); err != nil {
		return err
	}
	if body.TargetOhms == nil {
		return invalid.of("target_ohms", "is missing: say what a coil should measure at 20 °C, in ohms")
	}
	if body.Revision != nil {
		return invalid.of("revision", "is only for a design that is revised; a new one has none yet")
	}
	design, err := body.over(newDesign())
	if err != nil {
		return err
	}
	design.Name = body.Name
	design, err = s.server.History.AddDesign(r.Context(), design, who(r))
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusCreated, design)
	return nil
}

func (s *site) reviseDesign(w http.ResponseWriter, r *http.Request) error {
	var body designBody
	if err := decode(w, r, &body); err != nil {
		return err
	}
	name := r.PathValue("design")
	if body.Name != "" && body.Name != name {
		return invalid.of("name", "a revision keeps the name %q; add a new design to use another", name)
	}
	if body.Revision != nil && *body.Revision < 1 {
		return invalid.of("revision", "must be 1 or more, not %d", *body.Revision)
	}
	revisions, err := s.server.History.DesignRevisions(r.Context(), name)
	if err != nil {
		return err
	}
	design, err := body.over(revisions[len(revisions)-1])
	if err != nil {
		return err
	}
	design, err = s.server.History.ReviseDesign(r.Context(), design, who(r))
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusCreated, design)
	return nil
}
