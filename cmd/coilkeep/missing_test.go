package main

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// onMissing are words that make each command that uses a database reach for it;
// creates is true for those that may begin a new one.
var onMissing = map[string]struct {
	words   string
	creates bool
}{
	"compare":                   {words: "--serial HN-0001 --theirs 6.2k --keep"},
	"drift":                     {words: "--batch spring-3 --freeze felt"},
	"journal":                   {},
	"export":                    {},
	"import":                    {words: "-", creates: true},
	"backup":                    {words: "FOLDER/copy.db"},
	"restore":                   {words: "FOLDER/no-backup.db"},
	"verify":                    {},
	"design list":               {},
	"design show":               {words: "larkspur"},
	"design add":                {words: "larkspur --target 6.69k --tolerance 5", creates: true},
	"design revise":             {words: "larkspur --turns 7050"},
	"batch list":                {},
	"batch show":                {words: "spring-3"},
	"batch start":               {words: "spring-3 --bench north --design larkspur"},
	"batch close":               {words: "spring-3"},
	"batch reopen":              {words: "spring-3"},
	"batch spool":               {words: "S-18 --batch spring-3"},
	"coil list":                 {},
	"coil show":                 {words: "HN-0001"},
	"coil void":                 {words: "HN-0001 --reason slipped"},
	"coil unrecorded":           {},
	"coil dismiss":              {words: "HN-0001"},
	"coil rack":                 {words: "HN-0001 --bench north"},
	"coil reevaluate":           {},
	"instrument list":           {words: "--bench north"},
	"instrument calibrate":      {words: "--bench north --role meter"},
	"instrument check-standard": {words: "--bench north --standard box-10k --nominal 10k --measured 10.002k"},
}

// A database whose path was mistyped is not there; a command that needs one says
// so, and leaves no empty one behind that the next command would find.
func TestOnlyABeginningCreatesADatabase(t *testing.T) {
	t.Parallel()
	seen := 0
	for prefix, m := range map[string]menu{"": coilkeep(), "design": designMenu(), "batch": batchMenu(), "coil": coilMenu(),
		"instrument": instrumentMenu()} {
		for _, g := range m.groups {
			for _, c := range g.commands {
				name := strings.TrimSpace(prefix + " " + c.name)
				help := start(t, append(strings.Fields(name), "--help")...)
				if !strings.Contains(help.stdout, "--history") {
					continue
				}
				seen++
				how, known := onMissing[name]
				if !known {
					t.Errorf("%s uses a database: say here what it does without one", name)
					continue
				}
				testMissing(t, name, how.words, how.creates)
			}
		}
	}
	if seen != len(onMissing) {
		t.Errorf("%d commands use a database, %d are listed here", seen, len(onMissing))
	}
}

func testMissing(t *testing.T, name, words string, creates bool) {
	t.Helper()
	folder := t.TempDir()
	path := filepath.Join(folder, "mistyped", "coils.db")
	words = strings.ReplaceAll(words, "FOLDER", filepath.ToSlash(folder))
	got := start(t, append(append(strings.Fields(name), strings.Fields(words)...), "--history", path)...)
	_, err := os.Stat(path)
	if creates {
		if err != nil {
			t.Errorf("%s made no database: exit %d, %s", name, got.code, got.stderr)
		}
		return
	}
	if got.code != exitFault || !strings.Contains(got.stderr, "there is no history file here; check the path") {
		t.Errorf("%s without a database: exit %d, %s; want 1, and what to check", name, got.code, got.stderr)
	}
	entries, readErr := os.ReadDir(folder)
	if !errors.Is(err, fs.ErrNotExist) || readErr != nil || len(entries) > 0 {
		t.Errorf("%s left %v behind (%v)", name, entries, readErr)
	}
}
