package history

import (
	"coilkeep/internal/record"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"golang.org/x/sys/unix"
)

// A file or folder that may not be written is named at opening, not at the
// first measurement.
func TestForbidden(t *testing.T) {
	for _, c := range []struct {
		name         string
		file, folder os.FileMode
	}{
		{"file", 0o444, 0o777},
		{"folder", 0o666, 0o555},
		{"both", 0o444, 0o555},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "coilkeep.db")
			closedHistory(t, path)
			permit(t, filepath.Dir(filepath.Dir(path)), 0o755)
			permit(t, path, c.file)
			permit(t, filepath.Dir(path), c.folder)
			asNobody(t)
			s, err := Open(t.Context(), path, quick)
			if !errors.Is(err, record.ErrReadOnly) || s != nil {
				t.Errorf("open: %v, want ErrReadOnly", err)
			}
		})
	}
}

func permit(t *testing.T, path string, mode os.FileMode) {
	t.Helper()
	if err := os.Chmod(path, mode); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := os.Chmod(path, 0o755); err != nil {
			t.Error(err)
		}
	})
}

// asNobody makes file permissions bind this test even when root runs it. Only
// this thread changes; it ends with the goroutine, being locked to it.
func asNobody(t *testing.T) {
	t.Helper()
	if os.Getuid() != 0 {
		return
	}
	const nobody = 65534
	runtime.LockOSThread()
	if _, err := unix.SetfsuidRetUid(nobody); err != nil {
		t.Fatal(err)
	}
	if now, err := unix.SetfsuidRetUid(-1); err != nil || now != nobody {
		t.Skipf("cannot lay down the rights of root (uid %d, %v)", now, err)
	}
	t.Cleanup(func() {
		if _, err := unix.SetfsuidRetUid(0); err != nil {
			t.Error(err)
		}
	})
}

// What may only be read can be read, as from a backup medium.
func TestForbiddenIsStillRead(t *testing.T) {
	path := filepath.Join(t.TempDir(), "coilkeep.db")
	closedHistory(t, path)
	permit(t, filepath.Dir(filepath.Dir(path)), 0o755)
	permit(t, path, 0o444)
	permit(t, filepath.Dir(path), 0o555)
	asNobody(t)
	s, err := Open(t.Context(), path, Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	list, _, err := s.Measurements(t.Context(), record.Filter{})
	if err != nil || len(list) == 0 {
		t.Errorf("%d measurements, %v; want those of the file", len(list), err)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}
