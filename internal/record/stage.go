package record

import (
	"slices"
	"strings"
)

// Where in its life a coil is measured.
const (
	StageWound     = "wound"
	StagePotted    = "potted"
	StageAssembled = "assembled"
)

// Stages are all there are.
var Stages = []string{StageWound, StagePotted, StageAssembled}

// ValidateStage says whether a stage is one of those there are. The error is a
// *FieldError.
func ValidateStage(text string) error {
	if !slices.Contains(Stages, text) {
		return Invalid("stage", "must be one of %s, not %q", strings.Join(Stages, ", "), text)
	}
	return nil
}
