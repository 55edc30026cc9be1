package main

import (
	"strconv"
	"strings"
)

// percent is a flag for a percentage, typed with its sign or without.
func (f *flagSet) percent(name string, value float64, usage string) *float64 {
	p := &value
	f.Var((*percentValue)(p), name, usage)
	return p
}

type percentValue float64

func (p *percentValue) Set(text string) error {
	v, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(text, "%")), 64)
	if err == nil {
		*p = percentValue(v)
	}
	return err
}

func (p *percentValue) String() string { return strconv.FormatFloat(float64(*p), 'g', -1, 64) }

// Type is what the messages about a flag go by.
func (p *percentValue) Type() string { return "float64" }
