package web

import (
	"cmp"
	"context"
	"errors"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/drift"
	"coilkeep/internal/record"
	"coilkeep/internal/statistics"
	"coilkeep/internal/web/api"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/words"
)

// pairing is what to pair: the coils of the first batch with those of the second,
// or with each other when Second is empty.
type pairing struct {
	First, Second string
	WithinPercent float64
}

// picked is a pick list with what it rests on.
type picked struct {
	// List is nil before it was asked for.
	List *drift.PickList
	// R20 is the resistance of every coil of the list at 20 °C, in ohms, by serial
	// number.
	R20 map[string]float64
	// Left is how many coils of the batches are not in the stock, because they are
	// not in tolerance, and Sold how many because they are half of a pair already.
	Left, Sold int
	// known is how well each coil is known: its expanded uncertainty over its R20.
	known []float64
}

// Known says how well the coils in the middle of the stock are known; pairs that
// are closer than that are equally good.
func (p picked) Known() string {
	return words.Significant(100*statistics.Median(p.known), 1) + " %"
}

// pairsView is the page of the pick list.
type pairsView struct {
	frame
	Form form
	// Batches are the names of the newest, to choose from.
	Batches []string
	picked
}

// pairsPage pairs the coils of one batch with each other, or those of one batch
// with those of another.
func (s *site) pairsPage(w http.ResponseWriter, r *http.Request) error {
	view := pairsView{frame: s.frame(windingSection, "Pairs"), Form: filledIn(r.URL.Query())}
	batches, _, err := s.server.History.FindBatches(r.Context(), record.BatchSearch{Limit: listedBatches})
	if err != nil {
		return err
	}
	for _, b := range batches {
		view.Batches = append(view.Batches, b.Name)
	}
	if view.Form.Get("first") == "" {
		return s.renderPage(w, "drift/pairs", view)
	}
	asked, err := pairingOf(view.Form)
	if err == nil {
		view.picked, err = s.pick(r.Context(), asked)
	}
	if err == nil {
		return s.renderPage(w, "drift/pairs", view)
	}
	trouble := problem.Classify(err)
	if trouble.Kind.Status >= http.StatusInternalServerError {
		return err
	}
	view.Form.Field, view.Form.Problem = trouble.Field, trouble.Detail
	return s.renderPageAs(w, trouble.Kind.Status, "drift/pairs", view)
}

// pickListTold is the pick list of the page for programs.
func (s *site) pickListTold(ctx context.Context, asked api.PairsAsked) (api.PickList, error) {
	what, err := pairing{asked.First, asked.Second, asked.WithinPercent}.checked()
	if err != nil {
		return api.PickList{}, err
	}
	found, err := s.pick(ctx, what)
	if err != nil {
		return api.PickList{}, err
	}
	told := api.PickList{FirstBatch: what.First, WithinPercent: what.WithinPercent, Pairs: []api.PickedPair{},
		LeftOver: []api.LeftOverCoil{}, NotInTolerance: found.Left, InAssembly: found.Sold}
	if what.Second != "" {
		told.SecondBatch = &what.Second
	}
	for _, p := range found.List.Pairs {
		told.Pairs = append(told.Pairs, api.PickedPair{Pair: p, FirstR20Ohms: found.R20[p.First], SecondR20Ohms: found.R20[p.Second]})
	}
	for _, serial := range found.List.LeftOver {
		told.LeftOver = append(told.LeftOver, api.LeftOverCoil{Serial: serial, R20Ohms: found.R20[serial]})
	}
	return told, nil
}

// checked refuses a pairing without a first batch. A batch that is paired with
// itself is one.
func (p pairing) checked() (pairing, error) {
	p.First, p.Second = strings.TrimSpace(p.First), strings.TrimSpace(p.Second)
	if p.First == "" {
		return p, problem.Invalid.InField("first", "is missing: name the batch whose coils are to be paired")
	}
	if p.Second == p.First {
		p.Second = ""
	}
	return p, nil
}

// pairingOf reads what to pair; within 1 % when nothing is told. A *problem.Fault
// names what is wrong.
func pairingOf(f form) (pairing, error) {
	p, err := pairing{First: f.Get("first"), Second: f.Get("second")}.checked()
	if err != nil {
		return p, err
	}
	p.WithinPercent, err = strconv.ParseFloat(cmp.Or(f.Get("within"), "1"), 64)
	if err != nil || !(p.WithinPercent > 0 && p.WithinPercent <= 50) {
		return p, problem.Invalid.InField("within", "%q is not a number of percent above 0, up to 50", f.Get("within"))
	}
	return p, nil
}

// pick makes the pick list.
func (s *site) pick(ctx context.Context, p pairing) (picked, error) {
	found := picked{R20: map[string]float64{}}
	first, err := s.shelf(ctx, "first", p.First)
	if err != nil {
		return found, err
	}
	var list drift.PickList
	if p.Second == "" {
		var stock []drift.Stocked
		if stock, err = found.stock(first); err != nil {
			return found, err
		}
		list, err = drift.PairWithin(stock, p.WithinPercent/100)
	} else {
		var second shelf
		if second, err = s.shelf(ctx, "second", p.Second); err != nil {
			return found, err
		}
		list, err = found.across(first, second, p.WithinPercent/100)
	}
	if err != nil {
		return found, err
	}
	found.List = &list
	return found, nil
}

// across pairs the coils of two batches. A coil that was measured in both, at
// another stage, is one coil: it counts where it was measured last.
func (p *picked) across(first, second shelf, ratio float64) (drift.PickList, error) {
	first, second = first.without(second), second.without(first)
	a, err := p.stock(first)
	if err != nil {
		return drift.PickList{}, err
	}
	b, err := p.stock(second)
	if err != nil {
		return drift.PickList{}, err
	}
	return drift.PairAcross(a, b, ratio)
}

// stock lists the coils of a shelf that are in tolerance, notes their resistances
// and counts the others.
func (p *picked) stock(from shelf) ([]drift.Stocked, error) {
	p.Sold += from.sold
	var stock []drift.Stocked
	for _, m := range from.coils {
		if m.Verdict != conformity.In {
			p.Left++
			continue
		}
		p.R20[m.Serial] = m.R20Ohms
		p.known = append(p.known, m.ExpandedUncertaintyOhms/m.R20Ohms)
		stock = append(stock, drift.Stocked{Serial: m.Serial, R20Ohms: m.R20Ohms, TargetOhms: from.targetOhms})
	}
	if len(stock) == 0 {
		return nil, problem.Conflict.InField(from.field, "batch %s has no single coil in tolerance, so that there is nothing to pair", from.batch)
	}
	return stock, nil
}

// shelf is the coils of a batch that are not sold as half of a pair, each with its newest measurement that stands.
type shelf struct {
	// field is where the batch was named.
	field, batch string
	targetOhms   float64
	coils        []record.Measurement
	// sold is how many further coils are half of an assembly.
	sold int
}

// without leaves out the coils that other measured later.
func (s shelf) without(other shelf) shelf {
	later := map[string]time.Time{}
	for _, m := range other.coils {
		later[m.Serial] = m.Time
	}
	s.coils = slices.DeleteFunc(slices.Clone(s.coils), func(m record.Measurement) bool { return later[m.Serial].After(m.Time) })
	return s
}

// shelf finds the coils of a batch.
func (s *site) shelf(ctx context.Context, field, name string) (shelf, error) {
	batch, err := s.server.History.Batch(ctx, name)
	if errors.Is(err, record.ErrNotFound) {
		return shelf{}, problem.Invalid.InField(field, "there is no batch %q", name)
	}
	if err != nil {
		return shelf{}, err
	}
	design, err := s.server.History.DesignRevision(ctx, batch.Design, batch.DesignRevision)
	if err != nil {
		return shelf{}, err
	}
	measured, next, err := s.server.History.Measurements(ctx, record.Filter{Batch: name, Newest: true, Limit: record.MaxPage})
	if err != nil {
		return shelf{}, err
	}
	if next != "" {
		return shelf{}, problem.Invalid.InField(field, "batch %s has more than %d measurements; pair smaller batches", name, record.MaxPage)
	}
	newest, serials := newestStanding(measured)
	sold, err := s.server.History.Assembled(ctx, serials)
	if err != nil {
		return shelf{}, err
	}
	single := slices.DeleteFunc(newest, func(m record.Measurement) bool { return sold[m.Serial] })
	return shelf{field: field, batch: name, targetOhms: design.TargetOhms, coils: single, sold: len(sold)}, nil
}

// newestStanding leaves of measurements, the newest first, one for each coil of
// which one stands, and names the coils.
func newestStanding(measured []record.Measurement) (newest []record.Measurement, serials []string) {
	seen := map[string]bool{}
	for _, m := range measured {
		if !seen[m.Serial] && m.Stands() {
			seen[m.Serial] = true
			newest, serials = append(newest, m), append(serials, m.Serial)
		}
	}
	return newest, serials
}
