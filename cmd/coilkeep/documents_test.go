package main

import (
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// between returns what stands in a document of the tree after a line and before
// the next that begins with end.
func between(t *testing.T, document, after, end string) string {
	t.Helper()
	content, err := os.ReadFile(filepath.Join("..", "..", document))
	if err != nil {
		t.Fatal(err)
	}
	_, rest, found := strings.Cut(string(content), "\n"+after+"\n")
	part, _, ended := strings.Cut(rest, "\n"+end)
	if !found || !ended {
		t.Fatalf("%s has no part from %q to %q", document, after, end)
	}
	return part
}

// wantSame names what only one of two lists has.
func wantSame(t *testing.T, document string, listed, there []string) {
	t.Helper()
	if len(listed) == 0 || len(there) == 0 {
		t.Fatalf("%s lists %d, and there are %d: nothing was compared", document, len(listed), len(there))
	}
	for _, name := range there {
		if !slices.Contains(listed, name) {
			t.Errorf("%s lacks %s", document, name)
		}
	}
	for _, name := range listed {
		if !slices.Contains(there, name) {
			t.Errorf("%s has %s, which there is not", document, name)
		}
	}
}

// The table of commands in the README is that of the program.
func TestReadmeListsEveryCommand(t *testing.T) {
	t.Parallel()
	var listed, there []string
	for line := range strings.Lines(between(t, "README.md", "| command | does |", "\n")) {
		first, _, _ := strings.Cut(strings.TrimPrefix(line, "|"), "|")
		for _, name := range regexp.MustCompile("`([a-z]+)`").FindAllStringSubmatch(first, -1) {
			listed = append(listed, name[1])
		}
	}
	for _, g := range coilkeep().groups {
		for _, c := range g.commands {
			there = append(there, c.name)
		}
	}
	wantSame(t, "the table of commands in README.md", listed, there)
}

// The map in DEVELOPERS.md names every folder with Go in it.
func TestMapNamesEveryPackage(t *testing.T) {
	t.Parallel()
	var listed, there []string
	for line := range strings.Lines(between(t, "DEVELOPERS.md", "```", "```")) {
		name := strings.TrimSuffix(strings.Fields(line)[0], "/")
		switch {
		case strings.HasPrefix(line, "     "): // the line before goes on
			continue
		case strings.HasPrefix(line, "  ") && !strings.HasPrefix(name, "driver/"):
			name = path.Join("internal", name)
		}
		if name != "testdata" {
			listed = append(listed, name)
		}
	}
	for _, root := range []string{"cmd", "driver", "internal", "dashboards"} {
		err := filepath.WalkDir(filepath.Join("..", "..", root), func(file string, _ fs.DirEntry, err error) error {
			folder := strings.TrimPrefix(filepath.ToSlash(filepath.Dir(file)), "../../")
			if filepath.Ext(file) == ".go" && !slices.Contains(there, folder) && !strings.Contains(folder, "testdata") {
				there = append(there, folder)
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	wantSame(t, "the map in DEVELOPERS.md", listed, there)
}
