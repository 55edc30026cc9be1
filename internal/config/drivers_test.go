package config

import (
	"context"

	"coilkeep/driver"
)

// Stand-ins with the names and keys that the contract gives the drivers.
func init() {
	open := func(context.Context, driver.Conn, driver.Settings) (driver.Instrument, error) { return nil, nil }
	driver.Register(driver.Driver{Name: "scpi", Open: open, Options: []driver.Option{
		{Name: "terminator", Kind: driver.Text, Default: "lf", OneOf: []string{"lf", "crlf", "cr"}},
		{Name: "init", Kind: driver.Texts, Default: []string{"CONF:RES"}},
		{Name: "query", Kind: driver.Text, Default: "READ?"},
	}})
	driver.Register(driver.Driver{Name: "line", Open: open, Options: []driver.Option{
		{Name: "pattern", Kind: driver.Text, Default: ""},
		{Name: "prompt", Kind: driver.Text, Default: ""},
		{Name: "unit", Kind: driver.Text, Default: ""},
	}})
	driver.Register(driver.Driver{Name: "modbus", Open: open, SharesPort: true, Options: []driver.Option{
		{Name: "unit_id", Kind: driver.Integer, Default: int64(1)},
		{Name: "scale", Kind: driver.Number, Default: 1.0},
	}})
	driver.Register(driver.Driver{Name: "manual", Open: open, NoPort: true})
}
