package config

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// written finds a key and its value: a text, a list or a number. What stands in a
// table of one line is found key by key.
var written = regexp.MustCompile(`(\w+) = ("(?:[^"\\]|\\.)*"|'[^']*'|\[[^\]]*\]|[^\s,{}\[\]]+)`)

// Every key, in every file that is good, says of a value of the wrong type on
// which line it stands, which key it is and what is wanted there, once.
func TestEveryKeyRefusesTheWrongType(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for name, text := range goodFiles(t) {
		for _, at := range written.FindAllStringSubmatchIndex(text, -1) {
			start := strings.LastIndex(text[:at[0]], "\n") + 1
			key := text[at[2]:at[3]]
			if strings.Contains(text[start:at[0]], "#") || key == "bench" { // a list of tables, of which bad files tell
				continue
			}
			seen[key] = true
			broken := text[:at[4]] + "2026-01-02" + text[at[5]:]
			_, err := Parse(strings.NewReader(broken), "workshop.toml")
			if err == nil {
				t.Errorf("%s takes a date for %s", name, key)
				continue
			}
			place := fmt.Sprintf("workshop.toml:%d: ", 1+strings.Count(text[:at[0]], "\n"))
			told := 0
			for line := range strings.Lines(err.Error()) {
				if strings.HasPrefix(line, place) && strings.Contains(line, key+": wants ") && strings.Contains(line, "not a date or time") {
					told++
				}
			}
			if told != 1 {
				t.Errorf("%s: %s a date, told %d times:\n%v\nwant %s…%s: wants …", name, key, told, err, place, key)
			}
		}
	}
	if len(seen) < 40 {
		t.Errorf("only %d keys were tried: %v", len(seen), seen)
	}
}

// A number that is far too large is refused wherever a number may stand, with
// what is allowed.
func TestEveryNumberHasALimit(t *testing.T) {
	t.Parallel()
	number := regexp.MustCompile(`^[-+0-9.e]+$`)
	tried := 0
	for name, text := range goodFiles(t) {
		for _, at := range written.FindAllStringSubmatchIndex(text, -1) {
			start := strings.LastIndex(text[:at[0]], "\n") + 1
			key := text[at[2]:at[3]]
			// A scale and an offset are whatever the transmitter's manual says.
			if strings.Contains(text[start:at[0]], "#") || !number.MatchString(text[at[4]:at[5]]) || key == "scale" || key == "offset" {
				continue
			}
			tried++
			value := "999999999999999"
			_, err := Parse(strings.NewReader(text[:at[4]]+value+text[at[5]:]), "workshop.toml")
			place := fmt.Sprintf("workshop.toml:%d: ", 1+strings.Count(text[:at[0]], "\n"))
			if err == nil || !strings.Contains(err.Error(), place) || !strings.Contains(err.Error(), key) {
				t.Errorf("%s: %s = %s: %v", name, key, value, err)
			}
		}
	}
	if tried < 20 {
		t.Errorf("only %d numbers were tried", tried)
	}
}

// goodFiles are the configurations that are documented: the reference, those of
// testdata, and the one of the README.
func goodFiles(t *testing.T) map[string]string {
	t.Helper()
	files := map[string]string{"the reference": Reference}
	names, err := filepath.Glob(filepath.Join("testdata", "good-*.toml"))
	if err != nil || len(names) < 2 {
		t.Fatalf("good files %q, %v", names, err)
	}
	for _, name := range append(names, filepath.Join("..", "..", "README.md")) {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		files[filepath.Base(name)] = string(text)
	}
	blocks := regexp.MustCompile("(?:    [^\n]*\n|\n)+").FindAllString(files["README.md"], -1) // what is indented is to be typed
	delete(files, "README.md")
	for i, block := range blocks {
		if strings.Contains(block, "[[bench]]") {
			files[fmt.Sprintf("README, block %d", i+1)] = block
		}
	}
	return files
}

// Every documented configuration loads.
func TestDocumentedConfigurationsLoad(t *testing.T) {
	t.Parallel()
	readme := 0
	for name, text := range goodFiles(t) {
		if strings.HasPrefix(name, "README") {
			readme++
		}
		if _, err := Parse(strings.NewReader(text), name); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	if readme == 0 {
		t.Error("the README shows no configuration")
	}
}
