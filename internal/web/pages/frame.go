package pages

import "time"

// section is the link of the navigation that a page belongs to.
type section string

const (
	benchesSection     section = "benches"
	batchesSection     section = "batches"
	coilsSection       section = "coils"
	designsSection     section = "designs"
	windingSection     section = "winding"
	instrumentsSection section = "instruments"
	answersSection     section = "answers"
)

// link is one link of the navigation.
type link struct {
	Section section
	Path    string
	Words   string
}

// frame is what the layout shows around a page; every page's view embeds it.
type frame struct {
	Title    string
	Section  section
	Workshop string
	// Now is when the page was made.
	Now   time.Time
	Links []link
}

// frame returns the frame of a page with a title of its own, which may be
// empty.
func (s *desk) frame(in section, title string) frame {
	return frame{
		Title: title, Section: in, Workshop: s.Workshop, Now: s.Now(),
		Links: []link{
			{benchesSection, "/", "Benches"},
			{batchesSection, "/batches", "Batches"},
			{coilsSection, "/coils", "Coils"},
			{designsSection, "/designs", "Designs"},
			{windingSection, "/winders", "Winding"},
			{instrumentsSection, "/instruments", "Instruments"},
			{answersSection, "/answer", "Answer"},
		},
	}
}
