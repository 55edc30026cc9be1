package workshop

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"

	"coilkeep/internal/compare"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// RequestOf is the request that leads to the same comparison once more, to be
// added to: the texts from which its readings are made, and the same coils.
func RequestOf(c record.Comparison) (ComparisonRequest, error) {
	in := c.Input
	r := ComparisonRequest{TheirMeter: Text(c.TheirMeter), Note: Text(c.Note)}
	r.Serial, r.Seed = Text(in.Ours.Serial), Text(strconv.FormatUint(in.Seed, 10))
	if in.Mate != nil {
		r.Mate = Text(in.Mate.Serial)
	}
	if in.Ours.Serial == "" {
		r.R20, r.Uncertainty = plain(in.Ours.R20Ohms), plain(in.Ours.ExpandedUncertaintyOhms)
		for place, v := range map[*Text]float64{&r.Alpha: in.Ours.AlphaPerKelvin,
			&r.AlphaUncertainty: in.Ours.AlphaStandardUncertaintyPerKelvin, &r.Turns: float64(in.Ours.Turns)} {
			if v != 0 {
				*place = plain(v)
			}
		}
	}
	for i, reading := range in.Theirs {
		texts := r.Told()
		if i > 0 {
			r.Also = append(r.Also, OutsideReading{})
			texts = r.Also[i-1].Told()
		}
		if err := tell(texts, reading); err != nil {
			return ComparisonRequest{}, err
		}
	}
	return r, nil
}

// tell puts what is known of a reading into the texts there are.
func tell(texts map[string]*Text, r compare.Reading) error {
	encoded, err := json.Marshal(r)
	if err != nil {
		return fmt.Errorf("take a reading apart: %w", err)
	}
	var fields map[string]any
	if err := json.Unmarshal(encoded, &fields); err != nil {
		return fmt.Errorf("take a reading apart: %w", err)
	}
	for field, value := range fields {
		text, ok := texts[nameOf(field)]
		if !ok {
			continue // of the meter, and told with the first reading
		}
		switch v := value.(type) {
		case float64:
			*text = plain(v)
		case string:
			*text = Text(v)
		case bool:
			if v {
				*text = "true"
			}
		}
	}
	*texts[Theirs] = Text(words.OhmsToStep(r.Ohms, r.ResolutionOhms))
	return nil
}

// plain is v in the 15 digits that may be typed.
func plain(v float64) Text {
	const digits = 15
	places := digits - 1
	if v != 0 {
		places -= int(math.Floor(math.Log10(math.Abs(v))))
	}
	text := strconv.FormatFloat(v, 'f', max(0, min(places, digits)), 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return Text(text)
}
