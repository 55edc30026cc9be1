package config

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/nearest"
	"coilkeep/internal/words"
)

// Problem is one thing wrong with a configuration.
type Problem struct {
	// Line is where, from 1; 0 when the file as a whole is meant.
	Line int
	// Message says what is wrong and how to mend it.
	Message string
}

// Error is everything wrong with a configuration, sorted by line.
type Error struct {
	File     string
	Problems []Problem
}

// Error gives one problem a line, each as file:line: message.
func (e *Error) Error() string {
	text := make([]string, len(e.Problems))
	for i, p := range e.Problems {
		text[i] = e.File + ": " + p.Message
		if p.Line > 0 {
			text[i] = fmt.Sprintf("%s:%d: %s", e.File, p.Line, p.Message)
		}
	}
	return strings.Join(text, "\n")
}

// document is a decoded file while it is being checked.
type document struct {
	line     map[string]int
	problems []Problem
}

// complain notes that something is wrong with the key at path.
func (d *document) complain(path, format string, args ...any) {
	d.problems = append(d.problems, Problem{Line: d.lineOf(path), Message: fmt.Sprintf(format, args...)})
}

// lineOf returns the line of a key, or of the nearest table around it when the
// file does not give the key.
func (d *document) lineOf(path string) int {
	for {
		path = strings.TrimSuffix(path, ".")
		if line, ok := d.line[path]; ok {
			return line
		}
		dot := strings.LastIndex(path, ".")
		if dot < 0 {
			return 0
		}
		path = path[:dot]
	}
}

func (d *document) sorted() []Problem {
	slices.SortStableFunc(d.problems, func(a, b Problem) int { return cmp.Compare(a.Line, b.Line) })
	return d.problems
}

// table reads the keys of one TOML table. Asking for a key makes it known, so
// that whatever is left over in the end is a mistake: see done. What is wrong
// is collected in the document, and the reader goes on with the default.
type table struct {
	doc    *document
	path   string // of the table in the file, as lines gives it
	where  string // the same for people, ending so that a key can follow
	given  bool   // the table is in the file
	values map[string]any
	known  []string
}

// complain notes that something is wrong with key, or with the whole table
// when key is empty.
func (t *table) complain(key, format string, args ...any) {
	where := t.where + key
	if key == "" {
		where = strings.TrimRight(where, ".: ")
	}
	if where != "" {
		where += ": "
	}
	t.doc.complain(join(t.path, key), "%s%s", where, fmt.Sprintf(format, args...))
}

// repeat notes what another package says is wrong with key; its text begins
// with the name of the key.
func (t *table) repeat(key string, err error) {
	text := strings.TrimPrefix(err.Error(), driver.ErrSettings.Error()+": ")
	t.doc.complain(join(t.path, key), "%s%s", t.where, text)
}

// take returns the value of key and whether the file gives it.
func (t *table) take(key string) (any, bool) {
	t.known = append(t.known, key)
	value, ok := t.values[key]
	return value, ok
}

// has says whether the file gives key, without asking for it.
func (t *table) has(key string) bool {
	_, ok := t.values[key]
	return ok
}

// text reads a string.
func (t *table) text(key, fallback string) string {
	value, ok := t.take(key)
	if !ok {
		return fallback
	}
	text, ok := value.(string)
	if !ok {
		t.complain(key, "wants a text in quotes, not %s", describe(value))
		return fallback
	}
	return text
}

// oneOf reads a string that must be one of allowed.
func (t *table) oneOf(key, fallback string, allowed []string) string {
	before := len(t.doc.problems)
	text := t.text(key, fallback)
	if len(t.doc.problems) == before && !slices.Contains(allowed, text) {
		t.complain(key, "%q is not known; %s", text, suggest(text, allowed, "choose one of"))
	}
	return text
}

// number reads a number from low to high; both ends are allowed. Whole numbers
// are accepted too; nan is in no range.
func (t *table) number(key string, fallback, low, high float64) float64 {
	value, ok := t.take(key)
	if !ok {
		return fallback
	}
	var number float64
	switch v := value.(type) {
	case float64:
		number = v
	case int64:
		number = float64(v)
	default:
		t.complain(key, "wants a number, not %s", describe(value))
		return fallback
	}
	if !(number >= low && number <= high) {
		t.complain(key, "%s is out of range; it must be %s", words.Plain(number), span(low, high))
		return fallback
	}
	return number
}

// integer reads a whole number from low to high.
func (t *table) integer(key string, fallback, low, high int64) int64 {
	value, ok := t.take(key)
	if !ok {
		return fallback
	}
	number, ok := value.(int64)
	if !ok {
		t.complain(key, "wants a whole number, not %s", describe(value))
		return fallback
	}
	if number < low || number > high {
		t.complain(key, "%d is out of range; it must be %s", number, span(float64(low), float64(high)))
		return fallback
	}
	return number
}

// duration reads a time span such as "200ms", from low to high.
func (t *table) duration(key string, fallback, low, high time.Duration) time.Duration {
	value, ok := t.take(key)
	if !ok {
		return fallback
	}
	text, ok := value.(string)
	if !ok {
		t.complain(key, "wants a time span in quotes, such as %q, not %s", short(fallback), describe(value))
		return fallback
	}
	d, err := time.ParseDuration(text)
	if err != nil {
		t.complain(key, "%q is not a time span; write it like %q, with ms, s, m or h", text, short(fallback))
		return fallback
	}
	if d < low || d > high {
		t.complain(key, "%s is out of range; it must be from %s to %s", text, short(low), short(high))
		return fallback
	}
	return d
}

// texts reads a list of strings.
func (t *table) texts(key string, fallback []string) []string {
	value, ok := t.take(key)
	if !ok {
		return fallback
	}
	items, ok := value.([]any)
	if !ok {
		t.complain(key, `wants a list of texts, such as ["one", "two"], not %s`, describe(value))
		return fallback
	}
	texts := make([]string, 0, len(items))
	for _, item := range items {
		text, ok := item.(string)
		if !ok {
			t.complain(key, "wants texts in quotes in its list, not %s", describe(item))
			return fallback
		}
		texts = append(texts, text)
	}
	return texts
}

// table reads a table inside this one. It is never nil; one that the file does
// not give is empty.
func (t *table) table(key string) *table {
	sub := &table{doc: t.doc, path: join(t.path, key), where: t.where + key + "."}
	value, ok := t.take(key)
	if !ok {
		return sub
	}
	if sub.values, sub.given = value.(map[string]any); !sub.given {
		t.complain(key, "wants a table, such as %s = { … }, not %s", key, describe(value))
	}
	return sub
}

// done complains of every key that nobody asked for.
func (t *table) done() {
	for _, key := range slices.Sorted(maps.Keys(t.values)) {
		if slices.Contains(t.known, key) {
			continue
		}
		t.complain(key, "unknown key; %s", suggest(key, t.known, "the keys here are"))
	}
}

// suggest offers the word of known nearest to word, or else, after the phrase
// others, all of them.
func suggest(word string, known []string, others string) string {
	if near, ok := nearest.Word(word, known); ok {
		return fmt.Sprintf("did you mean %q?", near)
	}
	return others + " " + strings.Join(known, ", ")
}

// describe says what kind of value the file holds instead of the wanted one.
func describe(value any) string {
	switch v := value.(type) {
	case string:
		return fmt.Sprintf("the text %q", v)
	case int64, float64:
		return fmt.Sprintf("the number %v", v)
	case bool:
		return fmt.Sprintf("%v", v)
	case []any:
		return "a list"
	case map[string]any:
		return "a table"
	default:
		return "a date or time"
	}
}

func span(low, high float64) string {
	if high == math.MaxFloat64 {
		return "a finite number"
	}
	return fmt.Sprintf("from %s to %s", words.Plain(low), words.Plain(high))
}

// short writes a duration as people do: 10m, not 10m0s.
func short(d time.Duration) string {
	text := d.String()
	if strings.HasSuffix(text, "m0s") {
		text = strings.TrimSuffix(text, "0s")
	}
	if strings.HasSuffix(text, "h0m") {
		text = strings.TrimSuffix(text, "0m")
	}
	return text
}
