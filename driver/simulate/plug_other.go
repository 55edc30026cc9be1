//go:build !linux && !darwin

package simulate

import "fmt"

func newPTYSocket(_, name string) (socket, error) {
	return nil, fmt.Errorf("plugging in %s: %w", name, ErrNoPseudoTerminals)
}
