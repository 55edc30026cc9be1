package pages

import (
	"bytes"
	"context"
	"errors"
	"html/template"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"coilkeep/internal/record"
	"coilkeep/internal/report"
	"coilkeep/internal/typeface"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/workshop"
)

const pdfType = "application/pdf"

// certificateView is the certificate of a coil as a page to print.
type certificateView struct {
	frame
	Serial, MeasurementID string
	Document              template.HTML
}

func (s documentPages) certificatePage(w http.ResponseWriter, r *http.Request) error {
	m, certificate, err := s.certificate(r)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := certificate.WriteHTML(&b); err != nil {
		return err
	}
	return s.renderPage(w, "records/certificate", certificateView{
		frame:  s.frame(coilsSection, "Certificate of coil "+m.Serial),
		Serial: m.Serial, MeasurementID: m.ID, Document: template.HTML(b.String()),
	})
}

func (s documentPages) certificatePDF(w http.ResponseWriter, r *http.Request) error {
	m, certificate, err := s.certificate(r)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := certificate.WritePDF(&b); err != nil {
		return printable(err)
	}
	s.download(w, pdfType, "certificate "+m.Serial+".pdf", b.Bytes())
	return nil
}

// certificate puts together the certificate of the measurement that the
// request names, or of the newest one that stands.
func (s documentPages) certificate(r *http.Request) (record.Measurement, *report.Certificate, error) {
	m, err := s.chosen(r)
	if err != nil {
		return m, nil, err
	}
	certified, err := workshop.CertifiedBy(r.Context(), s.History, m)
	if err != nil {
		return certified.Measurement, nil, printable(err)
	}
	certificate, err := report.NewCertificate(report.Subject{
		Workshop:  report.Workshop{Name: s.Workshop, Contact: s.Contact},
		Certified: certified, Issued: s.Now(), Zone: time.Local,
	})
	return certified.Measurement, certificate, printable(err)
}

// chosen returns the measurement of the coil in the path that the query names,
// or the newest one that stands, with all its details.
func (s documentPages) chosen(r *http.Request) (record.Measurement, error) {
	coil, err := s.History.Coil(r.Context(), r.PathValue("serial"))
	if err != nil {
		return record.Measurement{}, err
	}
	m, err := pickMeasurement(coil, r.URL.Query())
	if err != nil {
		return record.Measurement{}, err
	}
	m, _, err = s.History.Measurement(r.Context(), m.ID)
	return m, err
}

// pickMeasurement chooses among the measurements of a coil: the one the query names, or
// the newest one that stands, or the newest one when none does.
func pickMeasurement(coil record.Coil, query url.Values) (record.Measurement, error) {
	id := query.Get("measurement")
	m := workshop.Shown(coil, id)
	if m == nil {
		return record.Measurement{}, problem.NotFound.InField("measurement", "coil %s has no measurement %q", coil.Serial, id)
	}
	return *m, nil
}

// behind returns the calibrations that a measurement rests on; nil where there was
// none.
func (s documentPages) behind(ctx context.Context, m record.Measurement) (meter, probe *record.Calibration, err error) {
	list, err := s.History.Calibrations(ctx, m.Bench)
	if err != nil {
		return nil, nil, err
	}
	meter, probe = workshop.CalibrationsBehind(list, m)
	return meter, probe, nil
}

// printable turns the reasons why there is no document into problems that a
// person can mend.
func printable(err error) error {
	missing := (*typeface.MissingError)(nil)
	switch {
	case errors.Is(err, workshop.ErrNoDocument), errors.As(err, &missing):
		return problem.Conflict.Because("%v", err)
	case errors.Is(err, report.ErrSheet):
		return problem.Invalid.Because("%v", err)
	}
	return err
}

// sheetView is what a person says of a sheet of labels.
type sheetView struct {
	Paper             string
	WidthMM, HeightMM float64
	Skip              int
	Papers            []paper
}

// paper is one kind of paper that labels come on.
type paper struct{ Name, Words string }

var papers = []paper{{"a4", "A4 sheet"}, {"letter", "Letter sheet, 8½ × 11 in"}, {"single", "single labels from a roll"}}

// defaultSheet is three by eight labels to the sheet of A4.
var defaultSheet = sheetView{Paper: "a4", WidthMM: 70, HeightMM: 37, Papers: papers}

// parseSheet reads the sheet that a query asks for.
func parseSheet(query url.Values) (report.Sheet, error) {
	sheet := defaultSheet
	for name, place := range map[string]*float64{"width_mm": &sheet.WidthMM, "height_mm": &sheet.HeightMM} {
		if text := query.Get(name); text != "" {
			value, err := strconv.ParseFloat(text, 64)
			if err != nil || !(value > 0 && value < 1000) {
				return report.Sheet{}, problem.Invalid.InField(name, "%q is not a length in millimetres, such as 70", text)
			}
			*place = value
		}
	}
	made := report.Sheet{PaperWidthMM: sheet.WidthMM, PaperHeightMM: sheet.HeightMM, LabelWidthMM: sheet.WidthMM,
		LabelHeightMM: sheet.HeightMM}
	switch query.Get("paper") {
	case "", "a4":
		made = report.A4Sheet(sheet.WidthMM, sheet.HeightMM)
	case "letter":
		made = report.LetterSheet(sheet.WidthMM, sheet.HeightMM)
	case "single":
	default:
		return report.Sheet{}, problem.Invalid.InField("paper", "there is no paper %q; choose a4, letter or single", query.Get("paper"))
	}
	if text := query.Get("skip"); text != "" {
		skip, err := strconv.Atoi(text)
		if err != nil {
			return report.Sheet{}, problem.Invalid.InField("skip", "%q is not a number of labels", text)
		}
		made.Skip = skip
	}
	return made, printable(made.Validate())
}

// coilLabel downloads one label.
func (s documentPages) coilLabel(w http.ResponseWriter, r *http.Request) error {
	m, err := s.chosen(r)
	if err != nil {
		return err
	}
	return s.labels(w, r, "label "+m.Serial+".pdf", []record.Measurement{m})
}

// batchLabels downloads the labels of the coils of a batch that are in
// tolerance, or with which=all of every coil that has a measurement that
// stands.
func (s documentPages) batchLabels(w http.ResponseWriter, r *http.Request) error {
	batch := r.PathValue("batch")
	which := r.URL.Query().Get("which")
	if which != "" && which != "in" && which != "all" {
		return problem.Invalid.InField("which", "there is no choice %q; it is in or all", which)
	}
	list, err := workshop.LabelledOf(r.Context(), s.History, batch, which == "all")
	if err != nil {
		return printable(err)
	}
	return s.labels(w, r, "labels of "+batch+".pdf", list)
}

func (s documentPages) labels(w http.ResponseWriter, r *http.Request, name string, list []record.Measurement) error {
	sheet, err := parseSheet(r.URL.Query())
	if err != nil {
		return err
	}
	var labels []report.Label
	for _, m := range list {
		label, err := report.NewLabel(m, time.Local)
		if err != nil {
			return printable(err)
		}
		labels = append(labels, label)
	}
	var b bytes.Buffer
	if err := report.WriteLabels(&b, sheet, labels, s.Now()); err != nil {
		return printable(err)
	}
	s.download(w, pdfType, name, b.Bytes())
	return nil
}
