package history

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// tryLock takes an exclusive lock without waiting, or returns errHeld. Locks
// of Windows also forbid reading, so it is taken far behind the text.
func tryLock(f *os.File) error {
	at := windows.Overlapped{Offset: 1 << 30}
	err := windows.LockFileEx(windows.Handle(f.Fd()),
		windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, &at)
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return errHeld
	}
	return err
}

// syncDir does nothing: Windows keeps names durable by itself and cannot open
// a folder to ask for it.
func syncDir(string) error { return nil }
