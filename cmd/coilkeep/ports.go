package main

import (
	"context"
	"fmt"
	"strings"

	"coilkeep/driver/port"
)

func runPorts(_ context.Context, env *environment, args []string) error {
	flags := newFlags("ports",
		"List the serial ports with what is plugged in. Each line can be pasted into the\n"+
			"configuration; a usb: address finds the instrument again under another name.",
		"ports\nports --json")
	json := flags.Bool("json", false, "print JSON")
	if err := flags.parse(env, args, 0, 0); err != nil {
		return err
	}
	found, err := port.List()
	if err != nil {
		return err
	}
	if *json {
		return printJSON(env.stdout, listOf(found))
	}
	return env.printPorts(found)
}

// printPorts writes one line a port, as the configuration takes it, with the
// rest as a comment.
func (env *environment) printPorts(found []port.Info) error {
	if len(found) == 0 {
		_, err := fmt.Fprintln(env.stdout, "No serial port was found. Is the instrument plugged in, and its driver installed?")
		return err
	}
	var rows [][]string
	for _, p := range found {
		about := []string{}
		for _, text := range []string{p.Path, p.Manufacturer, p.Product, serialNumber(p)} {
			// What stands in the address already is not said again.
			if text != "" && text != p.Address {
				about = append(about, text)
			}
		}
		comment := ""
		if len(about) > 0 {
			comment = "# " + printable(strings.Join(about, ", "))
		}
		rows = append(rows, []string{fmt.Sprintf("port = %q", p.Address), comment})
	}
	return align(env.stdout, rows)
}

func serialNumber(p port.Info) string {
	if p.Serial == "" || strings.HasSuffix(p.Address, ":"+p.Serial) {
		return ""
	}
	return "serial number " + p.Serial
}

// printable drops what a device may say that does not belong on a line.
func printable(text string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return -1
		}
		return r
	}, text)
}
