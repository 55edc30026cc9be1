//go:build unix

package port

import (
	"fmt"
	"io/fs"
	"os"
	"os/user"
	"strconv"
	"syscall"
)

// checkCOMName refuses what cannot be opened on this system.
func checkCOMName(name string) error {
	return settingsError("%s is a name from Windows; here a port is called /dev/ttyUSB0 or so: run the ports command", name)
}

// forbidden says which group may open the device.
func forbidden(path string, cause error) error {
	err := fmt.Errorf("%w: %w", ErrForbidden, cause)
	info, statErr := os.Stat(path)
	if statErr != nil {
		return err
	}
	stat, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return err
	}
	return fmt.Errorf("%w; %s", err, advice(info.Mode(), stat.Gid))
}

// advice is what a person who may not open a device can do.
func advice(mode fs.FileMode, gid uint32) string {
	id := strconv.FormatUint(uint64(gid), 10)
	name := id
	if group, err := user.LookupGroupId(id); err == nil {
		name = group.Name
	}
	// Nobody should join the administrators for the sake of a port.
	if gid == 0 || mode.Perm()&0o060 != 0o060 {
		return fmt.Sprintf("it has mode %v and group %s: ask the administrator to give it to a group such as dialout", mode.Perm(), name)
	}
	return fmt.Sprintf("it belongs to group %s: add yourself with \"sudo usermod -aG %s $USER\" and log in again", name, name)
}
