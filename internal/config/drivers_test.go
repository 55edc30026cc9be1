package config

import (
	"strings"
	"testing"

	"coilkeep/driver"
	_ "coilkeep/driver/line"
	_ "coilkeep/driver/manual"
	_ "coilkeep/driver/modbus"
	_ "coilkeep/driver/scpi"
)

// The reference shows every key of every driver, those it does not use as
// comments.
func TestReferenceNamesTheKeysOfDrivers(t *testing.T) {
	if len(driver.Names()) == 0 {
		t.Fatal("no driver is registered")
	}
	for _, name := range driver.Names() {
		d, _ := driver.Lookup(name)
		if !strings.Contains(Reference, "# "+name+" ") {
			t.Errorf("the reference does not name driver %s", name)
		}
		for _, option := range d.Options {
			if !strings.Contains(Reference, "\n"+option.Name+" = ") && !strings.Contains(Reference, "\n# "+option.Name+" = ") {
				t.Errorf("the reference does not show key %s of driver %s", option.Name, name)
			}
		}
	}
}
