package enquiry

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"strconv"
	"strings"

	"coilkeep/internal/compare"
	"coilkeep/internal/quantity"
)

// Again is what to tell for the same question once more, to be added to: the
// texts from which Ask makes the readings of in, and the same coils.
func Again(in compare.Input) (Told, error) {
	told := Told{Fields: map[string]string{"serial": in.Ours.Serial, "seed": strconv.FormatUint(in.Seed, 10)}}
	if in.Mate != nil {
		told.Fields["mate"] = in.Mate.Serial
	}
	if in.Ours.Serial == "" {
		told.Fields["r20"] = plain(in.Ours.R20Ohms)
		told.Fields["uncertainty"] = plain(in.Ours.ExpandedUncertaintyOhms)
		for name, v := range map[string]float64{"alpha": in.Ours.AlphaPerKelvin, "alpha_uncertainty": in.Ours.AlphaStandardUncertaintyPerKelvin,
			"turns": float64(in.Ours.Turns)} {
			if v != 0 {
				told.Fields[name] = plain(v)
			}
		}
	}
	for i, r := range in.Theirs {
		texts, err := textsOf(r)
		if err != nil {
			return Told{}, err
		}
		if i == 0 {
			maps.Copy(told.Fields, texts)
			continue
		}
		for _, s := range Settings() {
			if s.OfMeter {
				delete(texts, s.Name)
			}
		}
		told.Also = append(told.Also, texts)
	}
	return told, nil
}

// textsOf are the texts that reading makes r of, by the names of its fields in
// JSON.
func textsOf(r compare.Reading) (map[string]string, error) {
	encoded, err := json.Marshal(r)
	if err != nil {
		return nil, fmt.Errorf("take a reading apart: %w", err)
	}
	var fields map[string]any
	if err := json.Unmarshal(encoded, &fields); err != nil {
		return nil, fmt.Errorf("take a reading apart: %w", err)
	}
	texts := map[string]string{}
	for field, value := range fields {
		switch v := value.(type) {
		case float64:
			texts[nameOf(field)] = plain(v)
		case string:
			texts[nameOf(field)] = v
		case bool:
			if v {
				texts[nameOf(field)] = "true"
			}
		}
	}
	texts[Theirs] = quantity.FormatOhms(r.Ohms, r.ResolutionOhms)
	return texts, nil
}

// plain is v in the 15 digits that may be typed.
func plain(v float64) string {
	const digits = 15
	places := digits - 1
	if v != 0 {
		places -= int(math.Floor(math.Log10(math.Abs(v))))
	}
	text := strconv.FormatFloat(v, 'f', max(0, min(places, digits)), 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text
}
