package config

import (
	"bytes"
	"fmt"

	"github.com/pelletier/go-toml/v2/unstable"
)

// lines returns the line each key of a TOML document stands on, by the path of
// the key: "web.listen", "bench[1].meter.poll". The decoder proper says where
// a fault of syntax is but not where a good value came from, so this walks the
// same parser once more. The document must be known to decode.
func lines(doc []byte) map[string]int {
	w := walk{doc: doc, line: map[string]int{}, tables: map[string]int{}}
	w.parser.Reset(doc)
	prefix := ""
	for w.parser.NextExpression() {
		switch node := w.parser.Expression(); node.Kind {
		case unstable.Table, unstable.ArrayTable:
			prefix = w.header(node)
		case unstable.KeyValue:
			w.keyValue(prefix, node)
		}
	}
	return w.line
}

// walk is one pass over a document.
type walk struct {
	doc    []byte
	parser unstable.Parser
	line   map[string]int
	// tables counts the elements of each array of tables so far; a header that
	// names the array means its latest element.
	tables map[string]int
}

// header notes a [table] or [[table]] line and returns the path its keys have.
func (w *walk) header(node *unstable.Node) string {
	path := ""
	for key := node.Key(); key.Next(); {
		path = join(path, string(key.Node().Data))
		if node.Kind == unstable.ArrayTable && key.IsLast() {
			w.tables[path]++
		}
		if n := w.tables[path]; n > 0 {
			path = element(path, n-1)
		}
		w.note(path, key.Node())
	}
	return path
}

// keyValue notes a key, and the keys inside its value.
func (w *walk) keyValue(path string, node *unstable.Node) {
	for key := node.Key(); key.Next(); {
		path = join(path, string(key.Node().Data))
		w.note(path, key.Node())
	}
	w.value(path, node.Value())
}

func (w *walk) value(path string, node *unstable.Node) {
	i := 0
	for child := node.Children(); child.Next(); i++ {
		switch node.Kind {
		case unstable.InlineTable:
			w.keyValue(path, child.Node())
		case unstable.Array:
			w.value(element(path, i), child.Node())
		}
	}
}

// note keeps the first line a path is seen on, which is its header when it has
// one.
func (w *walk) note(path string, key *unstable.Node) {
	if _, seen := w.line[path]; !seen {
		w.line[path] = 1 + bytes.Count(w.doc[:key.Raw.Offset], []byte("\n"))
	}
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

func element(path string, i int) string { return fmt.Sprintf("%s[%d]", path, i) }
