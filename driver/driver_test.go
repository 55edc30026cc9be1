package driver_test

import (
	"context"
	"fmt"
	"slices"
	"testing"

	"coilkeep/driver"
)

func nothing(context.Context, driver.Conn, driver.Settings) (driver.Instrument, error) {
	return nil, driver.ErrSettings
}

func init() {
	driver.Register(driver.Driver{Name: "zeta", Help: "last", Open: nothing})
	driver.Register(driver.Driver{Name: "alpha", Help: "first", Open: nothing})
}

func TestRegistry(t *testing.T) {
	if d, ok := driver.Lookup("alpha"); !ok || d.Help != "first" {
		t.Errorf("Lookup(alpha) = %+v, %t; want the driver registered", d, ok)
	}
	if d, ok := driver.Lookup("omega"); ok {
		t.Errorf("Lookup(omega) = %+v, want none", d)
	}
	names := driver.Names()
	if !slices.IsSorted(names) || !slices.Contains(names, "alpha") || !slices.Contains(names, "zeta") {
		t.Errorf("Names = %q, want alpha and zeta among them, sorted", names)
	}
}

func TestRegisterRefusesBugs(t *testing.T) {
	for _, d := range []driver.Driver{
		{Open: nothing},
		{Name: "idle"},
		{Name: "alpha", Open: nothing},
	} {
		t.Run(fmt.Sprintf("%q", d.Name), func(t *testing.T) {
			defer func() {
				if recover() == nil {
					t.Errorf("Register(%+v) did not panic", d)
				}
			}()
			driver.Register(d)
		})
	}
}

func TestUnits(t *testing.T) {
	t.Parallel()
	for q, want := range map[driver.Quantity]string{driver.Resistance: "Ω", driver.Temperature: "°C"} {
		if got := q.Unit(); got != want {
			t.Errorf("%s is in %q, want %q", q, got, want)
		}
	}
}
