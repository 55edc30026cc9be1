package config

import (
	"os"
	"strings"
	"testing"

	"coilkeep/driver"
	_ "coilkeep/driver/line"
	_ "coilkeep/driver/manual"
	_ "coilkeep/driver/modbus"
	_ "coilkeep/driver/scpi"
)

// The reference shows every key of every driver, those it does not use as
// comments, and so does the table of the README.
func TestReferenceNamesTheKeysOfDrivers(t *testing.T) {
	if len(driver.Names()) == 0 {
		t.Fatal("no driver is registered")
	}
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range driver.Names() {
		d, _ := driver.Lookup(name)
		if !strings.Contains(Reference, "# "+name+" ") {
			t.Errorf("the reference does not name driver %s", name)
		}
		_, row, _ := strings.Cut(string(readme), "\n| `"+name+"` | ")
		row, _, _ = strings.Cut(row, "\n")
		for _, option := range d.Options {
			if !strings.Contains(row, "`"+option.Name+"`") {
				t.Errorf("the README's table of drivers does not show key %s of driver %s", option.Name, name)
			}
			if !strings.Contains(Reference, "\n"+option.Name+" = ") && !strings.Contains(Reference, "\n# "+option.Name+" = ") {
				t.Errorf("the reference does not show key %s of driver %s", option.Name, name)
			}
		}
	}
}
