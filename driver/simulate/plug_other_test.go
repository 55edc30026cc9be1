//go:build !linux && !darwin

package simulate

import (
	"fmt"
	"os"
)

func openTerminal(path string) (*os.File, error) {
	return nil, fmt.Errorf("opening %s: %w", path, ErrNoPseudoTerminals)
}
