package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// The program is built without a C compiler, and nothing in it would use one
// where there is one: a driver of SQLite in C builds without, and then opens no
// database.
func TestNeedsNoCompilerOfC(t *testing.T) {
	t.Parallel()
	goTool := func(cgo string, args ...string) string {
		t.Helper()
		command := exec.CommandContext(t.Context(), "go", args...)
		command.Env = append(os.Environ(), "CGO_ENABLED="+cgo, "GOFLAGS=")
		out, err := command.CombinedOutput()
		if err != nil {
			t.Fatalf("CGO_ENABLED=%s go %s: %v\n%s", cgo, strings.Join(args, " "), err, out)
		}
		return string(out)
	}
	const withC = "{{if and .CgoFiles (not .Standard)}}{{.ImportPath}} {{end}}"
	if found := strings.TrimSpace(goTool("1", "list", "-deps", "-f", withC, ".")); found != "" {
		t.Errorf("written in C: %s", found)
	}
	binary := filepath.Join(t.TempDir(), "coilkeep")
	goTool("0", "build", "-o", binary, ".")
	if said := goTool("0", "version", "-m", binary); !strings.Contains(said, "CGO_ENABLED=0") {
		t.Errorf("the binary says it was built with C:\n%s", said)
	}
	folder := t.TempDir()
	add := exec.CommandContext(t.Context(), binary, "design", "add", "larkspur", "--target", "6.69k", "--tolerance", "5", "--history",
		filepath.Join(folder, "coilkeep.db"))
	if out, err := add.CombinedOutput(); err != nil {
		t.Errorf("keep a design with it: %v\n%s", err, out)
	}
}
