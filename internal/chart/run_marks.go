package chart

import (
	"coilkeep/internal/typeface"
)

// BatchMark says where a batch begins in a run over several.
type BatchMark struct {
	FromSequence int
	Name         string
	// Day is when its first coil was wound, such as 2026-03-14; "" when that is
	// not known.
	Day string
}

// mostRows is how many rows of names stand above or below each other at most.
const mostRows = 3

// nameRows keeps names from writing over each other: each goes into the first
// row that has room for it. It holds where the last name of each row ends.
type nameRows [mostRows]float64

// room finds a row for what stretches from one place to another and takes it.
func (r *nameRows) room(from, to float64) (row int, ok bool) {
	const apart = 6
	for row := range r {
		if from >= r[row]+apart {
			r[row] = to
			return row, true
		}
	}
	return 0, false
}

// name writes the longest of some names that has room beside a line at x: after
// it, or before it where the panel ends. When none has room the line stands alone.
func (r *nameRows) name(p *Picture, g panel, x float64, height func(row int) float64, names ...string) {
	// A page may set the words in a wider font than ours.
	const wider, beside = 1.1, 4
	for _, words := range names {
		width := wider * typeface.Width(words, false, textSize)
		a, at, from := start, x+beside, x+beside
		if at+width > g.x.to {
			a, at, from = end, x-beside, x-beside-width
		}
		if row, ok := r.room(from, from+width); ok {
			p.words(inkSoft, a, point{at, height(row)}, words)
			return
		}
	}
}

// spoolMarks draws a line between the last coil of one spool and the first of
// the next, each with the spool's name at the top.
func (r Run) spoolMarks(p *Picture, g panel) {
	var names nameRows
	height := func(row int) float64 { return g.y.to + textSize + float64(row)*(textSize+3) }
	for i, s := range r.Spools {
		x, moved := g.x.inside(float64(s.FromSequence) - 0.5)
		if moved && i > 0 {
			continue // changed, but nothing wound from it yet
		}
		if i > 0 {
			g.upright(p, inkSpool, x)
		}
		names.name(p, g, g.x.at(x), height, "spool "+s.Spool, s.Spool)
	}
}

// batchMarks draws a line before the first coil of each batch, with its day at
// the bottom: the coils are counted on, and only the days tell weeks from months.
func (r Run) batchMarks(p *Picture, g panel) {
	if len(r.Batches) < 2 {
		return
	}
	var names nameRows
	height := func(row int) float64 { return g.y.from - 6 - float64(row)*(textSize+3) }
	for i, b := range r.Batches {
		x, _ := g.x.inside(float64(b.FromSequence) - 0.5)
		if i > 0 {
			g.upright(p, inkBatch, x)
		}
		if b.Day == "" {
			names.name(p, g, g.x.at(x), height, "batch "+b.Name)
			continue
		}
		names.name(p, g, g.x.at(x), height, "batch of "+b.Day, b.Day)
	}
}

// batchesFrom are the marks from a coil on; the batch it is of begins there.
func batchesFrom(marks []BatchMark, first int) []BatchMark {
	var kept []BatchMark
	for _, m := range marks {
		if m.FromSequence <= first {
			m.FromSequence, kept = first, nil
		}
		kept = append(kept, m)
	}
	return kept
}
