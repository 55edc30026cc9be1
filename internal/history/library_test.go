package history

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"coilkeep/internal/record"
)

// A path that must exist is not made, nor is a file without a history in it
// taken for one.
func TestMustExist(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	empty := filepath.Join(folder, "empty.db")
	if err := os.WriteFile(empty, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{filepath.Join(folder, "none", "coils.db"), empty} {
		s, err := Open(t.Context(), path, Options{MustExist: true})
		if s != nil || !errors.Is(err, record.ErrMissing) {
			t.Errorf("%s: %v, want ErrMissing", path, err)
		}
	}
	if entries, err := os.ReadDir(folder); err != nil || len(entries) != 1 {
		t.Errorf("left behind: %v, %v; want empty.db alone", entries, err)
	}
	path := workshop(t).Path()
	openStore(t, path, Options{MustExist: true})
}

// The step-wise backup of SQLite was seen to leave an empty file, which passes
// its integrity check: a copy is refused by what is
// not in it.
func TestEmptyCopyIsRefused(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	recordCoil(t, s, "HN-0001")
	least, err := countRecords(t.Context(), s.readers)
	if err != nil || least < 2 {
		t.Fatalf("%d records, %v", least, err)
	}
	folder := t.TempDir()
	sound := openStore(t, filepath.Join(folder, "new.db"), Options{})
	if err := sound.Close(); err != nil {
		t.Fatal(err)
	}
	if err := checkCopy(t.Context(), sound.Path(), 0); err != nil {
		t.Errorf("a new history as a copy of nothing: %v", err)
	}
	if err := checkCopy(t.Context(), sound.Path(), least); !errors.Is(err, record.ErrDamaged) || !strings.Contains(err.Error(), "0 records") {
		t.Errorf("a sound copy without records: %v, want ErrDamaged with their number", err)
	}
	empty := filepath.Join(folder, "empty.db")
	if err := os.WriteFile(empty, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := checkCopy(t.Context(), empty, least); !errors.Is(err, record.ErrForeign) {
		t.Errorf("an empty file: %v, want ErrForeign", err)
	}
}

// modernc.org/sqlite works with the one version of modernc.org/libc that its own
// go.mod names (its documentation, "Fragile modernc.org/libc dependency"); an
// update of everything would take a newer one.
func TestLibraryVersionsGoTogether(t *testing.T) {
	t.Parallel()
	list := func(format, module string) string {
		text, err := exec.CommandContext(t.Context(), "go", "list", "-m", "-f", format, module).Output()
		if err != nil {
			t.Fatalf("go list -m %s: %v", module, err)
		}
		return strings.TrimSpace(string(text))
	}
	text, err := os.ReadFile(list("{{.GoMod}}", "modernc.org/sqlite"))
	if err != nil {
		t.Fatal(err)
	}
	named := regexp.MustCompile(`(?m)^\s*modernc\.org/libc (v\S+)`).FindSubmatch(text)
	if named == nil {
		t.Fatalf("modernc.org/sqlite names no modernc.org/libc:\n%s", text)
	}
	if got := list("{{.Version}}", "modernc.org/libc"); got != string(named[1]) {
		t.Errorf("go.mod takes modernc.org/libc %s, modernc.org/sqlite names %s", got, named[1])
	}
}
