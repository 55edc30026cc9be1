package pages

import (
	"html/template"
	"net/http"
	"strings"
	"time"

	"coilkeep/internal/chart"
	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
)

// forPeople has the errors of an Endpoint be answered with a page that says
// what is wrong, not with a problem for programs.
func (s *desk) forPeople(e Endpoint) Endpoint {
	return func(w http.ResponseWriter, r *http.Request) error {
		err := e(w, r)
		if err == nil {
			return nil
		}
		f := problem.Classify(err)
		if f.Kind.Status >= http.StatusInternalServerError && r.Context().Err() == nil {
			s.Logger.Error("page failed", "method", r.Method, "path", r.URL.Path, "err", err)
		}
		return s.renderPageAs(w, f.Kind.Status, "records/problem", struct {
			frame
			Detail string
		}{s.frame("", f.Kind.Title), f.Detail})
	}
}

// drawing is a picture in a page, or why there is none.
type drawing struct {
	// Name is what those hear who cannot see where it is scrolled.
	Name string
	// Wide is for tables and laptops, Narrow for telephones; Narrow is empty
	// when the picture has too much in it and is scrolled instead.
	Wide, Narrow template.HTML
	Trouble      string
}

// narrowPixels is the width of a picture that fits on a telephone.
const narrowPixels = 320

// drawn draws a picture, and once more for a telephone when that has room for
// it. A record that cannot be drawn does not hide the rest of its page.
func (s *desk) drawn(name string, narrow bool, draw func(chart.View) (*chart.Picture, error)) drawing {
	d := drawing{Name: name}
	var err error
	if d.Wide, err = drawnSVG(draw(inPage())); err == nil && narrow {
		view := inPage()
		view.Size.Width = narrowPixels
		d.Narrow, err = drawnSVG(draw(view))
	}
	if err != nil {
		s.Logger.Warn("picture not drawn", "err", err)
		return drawing{Name: name, Trouble: err.Error()}
	}
	return d
}

// drawnSVG takes what a chart function returns.
func drawnSVG(p *chart.Picture, err error) (template.HTML, error) {
	if err != nil {
		return "", err
	}
	var b strings.Builder
	err = p.WriteSVG(&b)
	return template.HTML(b.String()), err
}

// inPage is how pictures of a page speak: local time, and links to coils.
func inPage() chart.View {
	return chart.View{
		Time: localTime,
		Link: func(m record.Measurement) string { return measurementPath(m) },
	}
}

// measurementPath is where one measurement of a coil can be looked at.
func measurementPath(m record.Measurement) string {
	return pagePath("coils", m.Serial) + "?measurement=" + m.ID
}

// dayOf returns when the day of t begins in the time zone of t, and the next one.
func dayOf(t time.Time) (from, to time.Time) {
	year, month, day := t.Date()
	from = time.Date(year, month, day, 0, 0, 0, 0, t.Location())
	return from, time.Date(year, month, day+1, 0, 0, 0, 0, t.Location())
}
