//go:build linux || darwin

package simulate

import (
	"os"

	"golang.org/x/sys/unix"
)

func openTerminal(path string) (*os.File, error) {
	return os.OpenFile(path, os.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
}
