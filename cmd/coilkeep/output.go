package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"coilkeep/internal/quantity"
	"coilkeep/internal/words"
)

// printJSON writes value as indented JSON.
func printJSON(w io.Writer, value any) error {
	encoder := json.NewEncoder(w)
	encoder.SetIndent("", "  ")
	encoder.SetEscapeHTML(false)
	return encoder.Encode(value)
}

// listOf makes a list that is never null in JSON.
func listOf[T any](items []T) []T {
	if items == nil {
		return []T{}
	}
	return items
}

// columns writes rows of text with their columns aligned, the first row being
// the titles. When there is nothing but the titles it writes none instead.
func columns(w io.Writer, none string, rows [][]string) error {
	if len(rows) < 2 {
		_, err := fmt.Fprintln(w, none)
		return err
	}
	return align(w, rows)
}

// facts writes name and value, one pair a line, values aligned. Pairs without
// a value are left out.
func facts(w io.Writer, pairs ...string) error {
	var rows [][]string
	for i := 0; i+1 < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			rows = append(rows, pairs[i:i+2])
		}
	}
	return align(w, rows)
}

// align writes rows with two spaces between the widest cells of their columns
// and nothing behind the last.
func align(w io.Writer, rows [][]string) error {
	var text strings.Builder
	out := tabwriter.NewWriter(&text, 0, 0, 2, ' ', 0)
	for _, row := range rows {
		fmt.Fprintln(out, strings.Join(row, "\t"))
	}
	if err := out.Flush(); err != nil {
		return err
	}
	for line := range strings.Lines(text.String()) {
		if _, err := fmt.Fprintln(w, strings.TrimRight(line, " \n")); err != nil {
			return err
		}
	}
	return nil
}

// when writes a time as people at the bench read it; "-" for no time.
func (env *environment) when(t time.Time) string {
	if t.IsZero() {
		return "-"
	}
	return words.Minute(t, env.local)
}

// dash stands for text that is not there.
func dash(text string) string {
	if text == "" {
		return "-"
	}
	return text
}

// parseOhms reads a resistance as people type it.
func parseOhms(text string) (float64, error) {
	value, _, err := quantity.ParseOhms(text)
	return value, err
}

// parseCelsius reads a temperature as people type it.
func parseCelsius(text string) (float64, error) {
	value, _, err := quantity.ParseCelsius(text)
	return value, err
}
