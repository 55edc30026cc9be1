package published

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// refusing is a test that notes why it failed, and ends like one.
type refusing struct {
	testing.TB
	said string
}

func (r *refusing) Helper() {}

func (r *refusing) Fatal(args ...any) {
	r.said = fmt.Sprint(args...)
	runtime.Goexit()
}

func (r *refusing) Fatalf(format string, args ...any) { r.Fatal(fmt.Sprintf(format, args...)) }

// failure returns what the test said that ran f; empty when it did not fail.
func failure(f func(testing.TB)) string {
	r := &refusing{}
	done := make(chan struct{})
	go func() {
		defer close(done)
		f(r)
	}()
	<-done
	return r.said
}

// A table without anything to compare would let every check pass.
func TestNothingToCompareFails(t *testing.T) {
	dir := t.TempDir()
	for name, content := range map[string]string{
		"go.mod": "module invented\n", "testdata/none.csv": "", "testdata/heading.csv": "ohms,celsius\n",
		"testdata/good.csv": "ohms,celsius\n6690,\n", "testdata/nothing.json": "{}", "testdata/list.json": "[]",
		"testdata/misread.json": `{"Readings": [1]}`, "testdata/good.json": `{"values": [1, 2]}`,
	} {
		if err := os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	t.Chdir(dir)
	var object struct{ Values []float64 }
	var list []float64
	for name, tt := range map[string]struct {
		read func(testing.TB)
		want string // of the failure; empty is none
	}{
		"an empty file":        {func(tb testing.TB) { Table(tb, "none.csv") }, "no rows"},
		"a heading only":       {func(tb testing.TB) { Table(tb, "heading.csv") }, "no rows"},
		"no file":              {func(tb testing.TB) { Table(tb, "gone.csv") }, "gone.csv"},
		"a column there isn't": {func(tb testing.TB) { Table(tb, "good.csv")[0].Number("kelvin") }, `no column "kelvin"`},
		"an empty cell":        {func(tb testing.TB) { Table(tb, "good.csv")[0].Number("celsius") }, `column "celsius"`},
		"a good table":         {func(tb testing.TB) { Table(tb, "good.csv")[0].Number("ohms") }, ""},
		"an empty object":      {func(tb testing.TB) { JSON(tb, "nothing.json", &object) }, "nothing"},
		"an empty list":        {func(tb testing.TB) { JSON(tb, "list.json", &list) }, "nothing"},
		"other names":          {func(tb testing.TB) { JSON(tb, "misread.json", &object) }, "nothing"},
		"a good object":        {func(tb testing.TB) { JSON(tb, "good.json", &object) }, ""},
	} {
		if said := failure(tt.read); said == "" != (tt.want == "") || !strings.Contains(said, tt.want) {
			t.Errorf("%s: failed with %q, want %q", name, said, tt.want)
		}
		object.Values, list = nil, nil
	}
}
