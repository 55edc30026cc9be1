package history

import (
	"reflect"
	"slices"
	"testing"
)

// Whatever an import can add is told, and counts as added.
func TestEveryKindAddedIsTold(t *testing.T) {
	t.Parallel()
	notAdded := []string{"Known", "LeftOut", "Renumbered"}
	fields := reflect.VisibleFields(reflect.TypeFor[Imported]())
	for _, f := range fields {
		var i Imported
		reflect.ValueOf(&i).Elem().FieldByIndex(f.Index).SetInt(7)
		var told []string
		for _, c := range i.Added() {
			if c.Records == 7 {
				told = append(told, c.Kind)
			}
		}
		want := 1
		if slices.Contains(notAdded, f.Name) {
			want = 0
		}
		if len(told) != want || i.added() != 7*want {
			t.Errorf("7 %s: told as %q, %d added", f.Name, told, i.added())
		}
	}
	if len(fields) != len((Imported{}).Added())+len(notAdded) {
		t.Errorf("%d fields, %d told", len(fields), len((Imported{}).Added()))
	}
}
