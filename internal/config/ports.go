package config

import (
	"fmt"

	"coilkeep/driver"
)

// user is an instrument that uses a port.
type user struct {
	name string // for people
	path string // of its table
	in   Instrument
}

// checkPorts sees that no two instruments want the same port, unless their
// drivers share it and agree on the line settings. Two names of one device
// are not found out here; opening the second finds it busy.
func checkPorts(root *table, benches []Bench) {
	var users []user
	for i, b := range benches {
		path := element("bench", i)
		users = append(users, user{fmt.Sprintf("the meter of bench %q", b.Name), join(path, "meter"), b.Meter})
		if b.Probe != nil {
			users = append(users, user{fmt.Sprintf("the probe of bench %q", b.Name), join(path, "probe"), *b.Probe})
		}
	}
	first := map[string]user{}
	for _, u := range users {
		if u.in.Port == "" {
			continue
		}
		other, taken := first[u.in.Port]
		if !taken {
			first[u.in.Port] = u
			continue
		}
		if why := cannotShare(u.in, other.in); why != "" {
			root.doc.complain(join(u.path, "port"), "%s uses %s, which %s uses already%s", u.name, u.in.Port, other.name, why)
		}
	}
}

// cannotShare says why two instruments cannot use one port; empty when they
// can.
func cannotShare(a, b Instrument) string {
	drv, known := driver.Lookup(a.Driver)
	switch {
	case !known:
		return "" // the driver has been complained of
	case a.Driver != b.Driver || !drv.SharesPort:
		return "; each needs a port of its own"
	case a.Baud != b.Baud || a.Frame != b.Frame:
		return fmt.Sprintf(", with %d baud %s and not %d baud %s; give both the same", b.Baud, b.Frame, a.Baud, a.Frame)
	case a.ResetPause != b.ResetPause:
		return fmt.Sprintf(", with a reset_pause of %s and not %s; give both the same", short(b.ResetPause), short(a.ResetPause))
	default:
		return ""
	}
}
