package pages

import (
	"bytes"
	"fmt"
	"html/template"
	"io"
	"io/fs"
	"log/slog"
	"maps"
	"mime"
	"net/http"
	"path"
	"strings"
	"sync"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// templates are the pages and the parts of pages.
var templates = newTemplates(files)

// templateSet holds the parts that pages share, and one template for each page:
// the layout and the parts with the page's own definitions. Pages go by their
// file below the templates folder, such as "pages/bench". Each is read when it is
// shown first: a daemon whose pages nobody opens, and a command, do without.
type templateSet struct {
	parts func() *template.Template
	pages map[string]func() *template.Template
}

// newTemplates finds the templates of the embedded folder.
func newTemplates(from fs.FS) templateSet {
	// What was shown once cannot be copied any more; this never is shown.
	common := sync.OnceValue(func() *template.Template {
		return template.Must(template.New("").Funcs(templateWords()).ParseFS(from, "templates/layout.html", "templates/parts/*.html"))
	})
	set := templateSet{
		parts: sync.OnceValue(func() *template.Template { return template.Must(common().Clone()) }),
		pages: map[string]func() *template.Template{},
	}
	for _, folder := range []string{"pages", "records", "answer", "drift"} {
		found, err := fs.Glob(from, path.Join("templates", folder, "*.html"))
		if err != nil {
			panic("templates of the program itself: " + err.Error())
		}
		for _, file := range found {
			set.pages[path.Join(folder, strings.TrimSuffix(path.Base(file), ".html"))] = sync.OnceValue(func() *template.Template {
				return template.Must(template.Must(common().Clone()).ParseFS(from, file))
			})
		}
	}
	return set
}

// templateWords are what templates can call.
func templateWords() template.FuncMap {
	all := valueWords()
	for _, more := range []template.FuncMap{pageWords(), recordWords(), answerWords(), driftWords()} {
		maps.Copy(all, more)
	}
	return all
}

// valueWords is how templates call package words.
func valueWords() template.FuncMap {
	return template.FuncMap{
		"liveOhms":      words.OhmsLive,
		"plainOhms":     words.Ohms,
		"stepped":       words.OhmsToStep,
		"within":        words.OhmsWithin,
		"pieces":        words.OhmsInPieces,
		"roughly":       words.OhmsRoughly,
		"spread":        words.OhmsSpread,
		"celsius":       words.CelsiusLive,
		"degrees":       words.Celsius,
		"wholeC":        func(celsius float64) string { return words.CelsiusToStep(celsius, 1) },
		"signedKelvin":  words.KelvinSigned,
		"off":           words.PercentOff,
		"percent":       words.Percent,
		"percentOf":     func(percent float64) string { return words.Fixed(percent, 1) + " %" },
		"withinPercent": words.PercentWithin,
		"offset":        func(ratio float64) string { return words.PercentSigned(ratio, 1) },
		"shift":         func(ratio float64) string { return words.PercentSigned(ratio, 2) },
		"deviation":     func(ratio float64) string { return words.PercentSigned(ratio, 3) },
		"signed":        func(percent float64) string { return words.Signed(percent, 2) + " %" },
		"bound":         func(ratio float64) string { return words.Fixed(100*ratio, 2) },
		"apart":         words.PercentApart,
		"chance":        words.ChanceWhole,
		"conforms":      words.Chance,
		"score":         func(en float64) string { return words.Fixed(en, 2) },
		"digits":        words.Significant,
		"tidy":          words.AtMost,
		"round":         func(v float64) string { return words.Fixed(v, 0) },
		"number":        words.Plain,
		"minutesWithin": words.MinutesWithin,
		"verdictWords":  words.Verdict[conformity.Verdict],
		"statusWords":   words.Status[record.Status],
		"machineTime":   words.TimestampUTC,
		"localTime":     localTime,
		"localDay":      func(t time.Time) string { return words.Day(t, time.Local) },
	}
}

// pageWords are the template functions of the pages of the benches.
func pageWords() template.FuncMap {
	return template.FuncMap{
		"measurementPath": measurementPath,
		"alert":           newAlert,
		"answerFollows":   func() template.HTML { return answerMark },
	}
}

// localTime is t for a person, in the daemon's time zone; the page's script shows
// it in the reader's own.
func localTime(t time.Time) string { return words.Time(t, time.Local) }

// renderPage answers with a page, whole or not at all. The view embeds frame.
func (s *desk) renderPage(w http.ResponseWriter, name string, view any) error {
	return s.renderPageAs(w, http.StatusOK, name, view)
}

// renderPageAs is renderPage with another status.
func (s *desk) renderPageAs(w http.ResponseWriter, status int, name string, view any) error {
	page := templates.pages[name]
	if page == nil {
		return fmt.Errorf("there is no page %q", name)
	}
	var b bytes.Buffer
	if err := page().ExecuteTemplate(&b, "layout", view); err != nil {
		return fmt.Errorf("render page %s: %w", name, err)
	}
	Send(w, s.Logger, status, "text/html; charset=utf-8", b.Bytes())
	return nil
}

// answerMark stands in a page where its answer comes, for streamPage.
const answerMark = template.HTML("<!-- the answer follows -->")

// streamPage answers with a page whose answer takes a while. What is above the
// answer is on the screen before compute is called; compute fills in the view, and
// the page's own template "answer" shows it. Until then compute may tell how far it
// is, as HTML; a reader who has gone away is told by the request's context.
func (s *desk) streamPage(w http.ResponseWriter, name string, view any, compute func(tell func(template.HTML))) error {
	page := templates.pages[name]
	if page == nil {
		return fmt.Errorf("there is no page %q", name)
	}
	var around, answer bytes.Buffer
	if err := page().ExecuteTemplate(&around, "layout", view); err != nil {
		return fmt.Errorf("render page %s: %w", name, err)
	}
	above, below, found := strings.Cut(around.String(), string(answerMark))
	if !found {
		return fmt.Errorf("page %s has no place for its answer", name)
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	s.sendPiece(w, name, above)
	compute(func(piece template.HTML) {
		if err := writePiece(w, string(piece)); err != nil {
			s.Logger.Debug("nobody waits for the page", "page", name, "err", err)
		}
	})
	if err := page().ExecuteTemplate(&answer, "answer", view); err != nil {
		s.Logger.Error("page without its answer", "page", name, "err", err)
		panic(http.ErrAbortHandler)
	}
	s.sendPiece(w, name, answer.String()+below)
	return nil
}

// sendPiece sends a piece of a page at once. When that fails the answer has begun:
// it is cut short so that it cannot pass for whole.
func (s *desk) sendPiece(w http.ResponseWriter, name, piece string) {
	if err := writePiece(w, piece); err != nil {
		s.Logger.Debug("page cut short", "page", name, "err", err)
		panic(http.ErrAbortHandler)
	}
}

func writePiece(w http.ResponseWriter, piece string) error {
	if _, err := io.WriteString(w, piece); err != nil {
		return err
	}
	return http.NewResponseController(w).Flush()
}

// renderPart answers with a part of a page.
func (s *desk) renderPart(w http.ResponseWriter, name string, view any) error {
	var b bytes.Buffer
	if err := templates.parts().ExecuteTemplate(&b, name, view); err != nil {
		return fmt.Errorf("render %s: %w", name, err)
	}
	Send(w, s.Logger, http.StatusOK, "text/html; charset=utf-8", b.Bytes())
	return nil
}

// Send writes a whole answer. Nothing the daemon says may be kept by a cache:
// it would be shown as live later.
func Send(w http.ResponseWriter, log *slog.Logger, status int, contentType string, body []byte) {
	w.Header().Set("Content-Type", contentType)
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	if _, err := w.Write(body); err != nil {
		log.Debug("client went away", "err", err)
	}
}

// download sends a file to be kept under a name.
func (s *desk) download(w http.ResponseWriter, contentType, name string, content []byte) {
	w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
	Send(w, s.Logger, http.StatusOK, contentType, content)
}
