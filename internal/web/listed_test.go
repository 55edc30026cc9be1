package web

import (
	"net/url"
	"strings"
	"time"

	"coilkeep/internal/record"
)

// What the pages list at most, as a reader counts it.
const (
	listedBatches       = 50
	listedCoils         = 1000
	foundCoils          = 50
	shownMeasurements   = 10
	chartedMeasurements = 150
)

// pdfType is what a browser is told of a paper.
const pdfType = "application/pdf"

// sinceLayout is how a browser sends a day and a time.
const sinceLayout = "2006-01-02T15:04"

// pagePath is the path of a page: each part is one step, whatever is in it.
func pagePath(parts ...string) string {
	var path strings.Builder
	for _, part := range parts {
		path.WriteString("/" + url.PathEscape(part))
	}
	return path.String()
}

func measurementPath(m record.Measurement) string {
	return pagePath("coils", m.Serial) + "?measurement=" + m.ID
}

func reevaluatePath(of, name string) string {
	return "/reevaluate?" + url.Values{of: {name}, "show": {"1"}}.Encode()
}

// dayOf returns when the day of t begins in the time zone of t, and the next one.
func dayOf(t time.Time) (from, to time.Time) {
	from = time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, t.Location())
	return from, from.AddDate(0, 0, 1)
}
