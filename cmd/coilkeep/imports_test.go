package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"
)

// pureRooms take values and give values: no clock, no disk, no port, no page.
// Each may import the standard library's mathematics and text, the public
// contract for readings, and the rooms named with it.
var pureRooms = map[string][]string{
	"words":       nil,
	"uncertainty": nil,
	"conformity":  nil,
	"copper":      nil,
	"thermo":      nil,
	"quantity":    {"words"},
	"r20":         {"copper", "uncertainty"},
	"warmth":      {"statistics", "uncertainty"},
	"cooling":     {"uncertainty", "words"},
	"capture":     {"conformity", "r20", "statistics", "uncertainty", "warmth", "words"},
	"sheet":       {"nearest"},
	"statistics":  nil,
	"control":     {"statistics"},
	"gauge":       {"control", "statistics"},
	"drift":       {"control", "copper", "gauge", "sheet", "statistics", "words"},
	"compare":     {"conformity", "copper", "r20", "statistics", "uncertainty", "words"},
	"record":      {"compare", "conformity", "copper", "r20", "uncertainty", "words"},
}

// impure are packages that reach outside.
var impure = []string{"os", "io/ioutil", "net", "net/http", "database/sql", "log/slog", "path/filepath", "os/exec", "context", "embed"}

// TestDataFlowsOneWay holds the rooms to the flow of data.
func TestDataFlowsOneWay(t *testing.T) {
	for room, allowed := range pureRooms {
		eachFile(t, filepath.Join("..", "..", "internal", room), func(path string, file *ast.File) {
			for _, spec := range file.Imports {
				name, err := strconv.Unquote(spec.Path.Value)
				if err != nil {
					t.Fatal(err)
				}
				if ours, ok := strings.CutPrefix(name, "coilkeep/internal/"); ok && !slices.Contains(allowed, ours) {
					t.Errorf("%s imports %s: %s may import only %v of internal", path, ours, room, allowed)
				}
				if slices.Contains(impure, name) {
					t.Errorf("%s imports %s: %s takes values and gives values", path, name, room)
				}
			}
			ast.Inspect(file, func(n ast.Node) bool {
				if s, ok := n.(*ast.SelectorExpr); ok {
					if x, ok := s.X.(*ast.Ident); ok && x.Name == "time" &&
						slices.Contains([]string{"Now", "Since", "Sleep", "After", "NewTimer"}, s.Sel.Name) {
						t.Errorf("%s calls time.%s: the clock comes in as a value", path, s.Sel.Name)
					}
				}
				return true
			})
		})
	}
	// A stranger's driver depends on the public contract only.
	eachFile(t, filepath.Join("..", "..", "driver"), func(path string, file *ast.File) {
		for _, spec := range file.Imports {
			if strings.HasPrefix(spec.Path.Value, `"coilkeep/internal/`) {
				t.Errorf("%s imports %s: driver imports nothing of internal", path, spec.Path.Value)
			}
		}
	})
}

// TestOnlyHistoryLinksSQLite keeps the database behind one room: whoever wants
// records imports package record, and is given a history by cmd.
func TestOnlyHistoryLinksSQLite(t *testing.T) {
	rooms, err := filepath.Glob(filepath.Join("..", "..", "internal", "*"))
	if err != nil {
		t.Fatal(err)
	}
	for _, room := range rooms {
		if filepath.Base(room) == "history" {
			continue
		}
		err := filepath.WalkDir(room, func(path string, entry fs.DirEntry, err error) error {
			if err != nil || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return err
			}
			file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
			if err != nil {
				return err
			}
			for _, spec := range file.Imports {
				switch spec.Path.Value {
				case `"coilkeep/internal/history"`, `"database/sql"`, `"modernc.org/sqlite"`:
					t.Errorf("%s imports %s: only history and cmd know the database", path, spec.Path.Value)
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}

// TestRulesStandBeforeTheFronts keeps the rules over records apart from who asks
// them, and from the bench: of ours they may import what is named here, and the
// public contract for readings.
func TestRulesStandBeforeTheFronts(t *testing.T) {
	allowed := slices.Sorted(maps.Keys(pureRooms))
	outside := slices.DeleteFunc(slices.Clone(impure), func(name string) bool { return name == "context" })
	eachFile(t, filepath.Join("..", "..", "internal", "workshop"), func(path string, file *ast.File) {
		for _, spec := range file.Imports {
			name, err := strconv.Unquote(spec.Path.Value)
			if err != nil {
				t.Fatal(err)
			}
			ours, isOurs := strings.CutPrefix(name, "coilkeep/")
			inside, ok := strings.CutPrefix(ours, "internal/")
			if isOurs && ours != "driver" && !(ok && slices.Contains(allowed, inside)) {
				t.Errorf("%s imports %s: workshop may import only %v of internal", path, name, allowed)
			}
			if slices.Contains(outside, name) {
				t.Errorf("%s imports %s: rules take records, or ask an interface they declare", path, name)
			}
		}
	})
}

// eachFile parses every file of a folder and those below it that is not a
// test. It fails when there is none.
func eachFile(t *testing.T, folder string, check func(path string, file *ast.File)) {
	t.Helper()
	files := 0
	err := filepath.WalkDir(folder, func(path string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		// Rooms below a pure one may be edges, such as drift/watch.
		if entry.IsDir() && path != folder && strings.Contains(folder, "internal") {
			return fs.SkipDir
		}
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		files++
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err == nil {
			check(path, file)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if files == 0 {
		t.Fatalf("no files in %s", folder)
	}
}

// TestTestsBringTheirOwnFakes holds driver/simulate to what the demo needs, and
// what only tests need to driver/drivertest: nothing of the program imports that,
// and every name that simulate declares is used by the demo or by simulate itself.
func TestTestsBringTheirOwnFakes(t *testing.T) {
	used := map[string]int{}
	declared := map[string]string{}
	note := func(path string, names ...*ast.Ident) {
		for _, n := range names {
			declared[n.Name] = path
			used[n.Name]--
		}
	}
	count := func(path string, file *ast.File) {
		ast.Inspect(file, func(n ast.Node) bool {
			if id, ok := n.(*ast.Ident); ok {
				used[id.Name]++
			}
			return true
		})
	}
	eachFile(t, filepath.Join("..", "..", "driver", "simulate"), func(path string, file *ast.File) {
		count(path, file)
		ast.Inspect(file, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.FuncDecl:
				note(path, n.Name)
			case *ast.TypeSpec:
				note(path, n.Name)
			case *ast.ValueSpec:
				note(path, n.Names...)
			case *ast.Field:
				note(path, n.Names...)
			}
			return true
		})
	})
	eachFile(t, filepath.Join("..", "..", "internal", "demo"), count)
	linked, err := exec.CommandContext(t.Context(), "go", "list", "-deps", ".").Output()
	if err != nil {
		t.Fatalf("list what the program is made of: %v", err)
	}
	if list := string(linked); !strings.Contains(list, "coilkeep/driver/simulate\n") ||
		strings.Contains(list, "coilkeep/driver/drivertest\n") {
		t.Errorf("the program must be made with driver/simulate and without driver/drivertest, but is made of\n%s", list)
	}
	for name, path := range declared {
		if used[name] <= 0 && name != "_" {
			t.Errorf("%s declares %s, which the program does not use: what only tests need goes to driver/drivertest", path, name)
		}
	}
}

// mostDependencies bounds the modules that the program itself imports: each is
// somebody else's work that a workshop relies on.
const mostDependencies = 15

// TestProgramHasFewDependencies counts the modules of which the program, and not
// only its tests, imports a package.
func TestProgramHasFewDependencies(t *testing.T) {
	t.Parallel()
	goList := func(format string) string {
		t.Helper()
		text, err := exec.CommandContext(t.Context(), "go", "list", "-deps", "-f", format, "coilkeep/cmd/coilkeep").Output()
		if err != nil {
			t.Fatalf("go list: %v", err)
		}
		return string(text)
	}
	ours := goList(`{{with .Module}}{{if .Main}}{{range $.Imports}}{{.}} {{end}}{{end}}{{end}}`)
	imported := map[string]bool{}
	for path := range strings.FieldsSeq(ours) {
		imported[path] = true
	}
	all := goList(`{{with .Module}}{{if not .Main}}{{.Path}} {{$.ImportPath}}{{end}}{{end}}`)
	modules := map[string]bool{}
	for line := range strings.Lines(all) {
		if module, path, found := strings.Cut(strings.TrimSpace(line), " "); found && imported[path] {
			modules[module] = true
		}
	}
	if names := slices.Sorted(maps.Keys(modules)); len(names) > mostDependencies || len(names) < 5 {
		t.Errorf("the program imports %d modules, at most %d: %s", len(names), mostDependencies, strings.Join(names, ", "))
	}
}

// TestLinesAreShort keeps lines, those of tests too, within what a screen shows beside
// another file.
func TestLinesAreShort(t *testing.T) {
	t.Parallel()
	const most = 140
	for _, folder := range []string{"cmd", "driver", "internal"} {
		err := filepath.WalkDir(filepath.Join("..", "..", folder), func(path string, entry fs.DirEntry, err error) error {
			if err != nil || !strings.HasSuffix(path, ".go") {
				return err
			}
			text, err := os.ReadFile(path)
			number := 0
			for line := range strings.Lines(string(text)) {
				number++
				if width := utf8.RuneCountInString(strings.TrimRight(line, "\n")); width > most {
					t.Errorf("%s:%d has %d columns, at most %d", path, number, width, most)
				}
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}
