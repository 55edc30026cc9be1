package line

import (
	"cmp"
	"regexp"
	"slices"
	"strings"

	"coilkeep/driver"
	"coilkeep/driver/internal/lines"
	"coilkeep/driver/internal/number"
)

// Proposal is a pattern that reads lines of an instrument.
type Proposal struct {
	// Pattern is what the option pattern takes; it holds no single quote.
	Pattern string
	// Latest is what it reads from the last line.
	Latest driver.Reading
	// ShowsUnit is true when the pattern has found a unit on the lines;
	// otherwise the value is taken in the unit of the settings.
	ShowsUnit bool

	score int
}

// mostProposals is how many patterns are worth a person's look.
const mostProposals = 3

// Propose works out patterns that read a value of q from lines, the likeliest
// first and none when no number stands in the same field of every line. The
// unit is that of values without one, as in [NewParser]. Lines are without
// their ends; a few of one instrument are best, for what counts up or stays the
// same in them is hardly the value. Which of the patterns is right only a look
// at the instrument's display tells.
func Propose(raw [][]byte, q driver.Quantity, unit string) []Proposal {
	var texts []string
	for _, line := range raw {
		if text, err := lines.Text(line); err == nil && strings.TrimSpace(text) != "" {
			texts = append(texts, text)
		}
	}
	var found []Proposal
	for _, sep := range separators {
		rows := sep.table(texts)
		if rows == nil {
			continue
		}
		for _, c := range (layout{sep: sep, rows: rows, q: q}).candidates() {
			p := Proposal{Pattern: c.pattern, ShowsUnit: c.showsUnit, score: c.score + sep.score}
			if p.reads(texts, q, unit) && !slices.ContainsFunc(found, func(o Proposal) bool { return o.Latest == p.Latest }) {
				found = append(found, p)
			}
		}
	}
	slices.SortStableFunc(found, func(a, b Proposal) int { return cmp.Compare(b.score, a.score) })
	return found[:min(len(found), mostProposals)]
}

// reads tries the pattern and reports whether it reads a value or an overload
// from every line.
func (p *Proposal) reads(texts []string, q driver.Quantity, unit string) bool {
	parser, err := NewParser(q, p.Pattern, unit)
	if err != nil {
		return false
	}
	for _, text := range texts {
		p.Latest, _ = parser.Parse([]byte(text))
		if p.Latest.Status != driver.OK && p.Latest.Status != driver.Overload {
			return false
		}
	}
	return len(texts) > 0
}

// separator is one way to part a line into fields.
type separator struct {
	split func(text string) []string
	// joint, field and value are expressions for what stands between two
	// fields, for any field, and for a field that is the value.
	joint, field, value string
	start               string // what may stand before the first field
	decimalComma        bool   // a comma that parts fields may be a decimal one
	pair                bool   // it parts a label and a value, and no more
	score               int
}

var separators = []separator{
	between("\t", `\t`, 3), between(";", ";", 3), between("|", `\|`, 3),
	{split: splitAt(","), joint: ",", field: "[^,]*", value: "[^,]*", decimalComma: true, score: 2},
	{split: strings.Fields, start: `\s*`, joint: `\s+`, field: `\S+`, value: `\S+`, score: 1},
	{split: splitAt("="), joint: "=", field: "[^=]*", value: "[^=]*", pair: true},
	{split: notClock, joint: ":", field: "[^:]*", value: "[^:]*", pair: true},
}

var clock = regexp.MustCompile(`^\s*\d{1,2}:\d{2}(?::\d{2})?\b`)

// notClock parts a text at its colons unless they are those of a clock.
func notClock(text string) []string {
	if clock.MatchString(text) {
		return nil
	}
	return strings.Split(text, ":")
}

func between(sep, joint string, score int) separator {
	return separator{split: splitAt(sep), joint: joint, field: "[^" + joint + "]*", value: "[^" + joint + "]*", score: score}
}

func splitAt(sep string) func(string) []string {
	return func(text string) []string { return strings.Split(text, sep) }
}

// table parts all lines; nil when they do not have the same number of fields,
// two or more.
func (s separator) table(texts []string) [][]string {
	var rows [][]string
	for _, text := range texts {
		fields := s.split(text)
		if len(fields) < 2 || s.pair && len(fields) > 2 || len(rows) > 0 && len(fields) != len(rows[0]) {
			return nil
		}
		rows = append(rows, fields)
	}
	return rows
}

// layout is lines parted into fields.
type layout struct {
	sep  separator
	rows [][]string
	q    driver.Quantity
}

// choice is a field that may be the value.
type choice struct {
	pattern   string
	showsUnit bool
	score     int
}

// overloadForm is how an overload is spelled where it cannot be told from what
// stands beside it by the field alone.
const overloadForm = `[-+]?(?i:\.?[o0]\.?[lf]\.?|ofl|ov\w*|inf(?:inity)?|open)|-[-.]+`

var (
	// inField is a label, a value and a unit, as "R=+6690.1 OHM" may stand in
	// one field.
	inField = regexp.MustCompile(`^\s*(|[\pL%][^=:]*[=:]\s*)([-+]?\s*\d+(?:[.,]\d+)?\.?(?:[eE][-+]?\d+)?|` +
		overloadForm + `)\s*([^\d\s=:.,+-][^\d=:,]*)?$`)
	// wholeNumber and its fraction may stand in two fields by a decimal comma.
	wholeNumber = regexp.MustCompile(`^\s*[-+]?\d+$`)
	fraction    = regexp.MustCompile(`^\d{1,6}\s*$`)
)

// candidates weighs every field.
func (l layout) candidates() []choice {
	var all []choice
	for i := range l.rows[0] {
		if c, ok := l.field(i); ok {
			all = append(all, c)
		}
		if l.sep.decimalComma && i+1 < len(l.rows[0]) {
			if c, ok := l.decimalComma(i); ok {
				all = append(all, c)
			}
		}
	}
	return all
}

// column is one field of every line.
func (l layout) column(i int) []string {
	column := make([]string, len(l.rows))
	for n, row := range l.rows {
		column[n] = row[i]
	}
	return column
}

// field weighs a field that holds a value in every line.
func (l layout) field(i int) (choice, bool) {
	var values []string
	label, unit := "", ""
	for n, text := range l.column(i) {
		m := inField.FindStringSubmatch(text)
		if m == nil || n > 0 && m[1] != label {
			return choice{}, false
		}
		values = append(values, m[2])
		label = m[1]
		if m[3] != "" {
			unit = strings.TrimSpace(m[3])
		}
	}
	c := choice{score: weighValues(values) + weighLabel(label, l.q)}
	name := strings.Trim(label, " =:")
	written := regexp.QuoteMeta(strings.TrimLeft(label, " "))
	switch {
	case unit != "":
		if !isUnitOf(unit, l.q) {
			return choice{}, false
		}
		value := written + `(?P<value>[-+]?\s*[\d.,]+(?:[eE][-+]?\d+)?|` + overloadForm + `)\s*(?P<unit>[^\d` + l.sep.joint + `]*)`
		c.pattern, c.showsUnit = l.pattern(i, i, -1, value), true
		c.score += 6
	case isUnitOf(name, l.q): // "degC=22.6"
		quoted := regexp.QuoteMeta(name)
		c.pattern = l.pattern(i, i, -1, "(?P<unit>"+quoted+")"+strings.TrimPrefix(written, quoted)+"(?P<value>"+l.sep.value+")")
		c.showsUnit = true
		c.score += 5
	case number.IsUnit(name, l.q): // "%RH=45"
		return choice{}, false
	default:
		at, weight, ok := l.unitOf(i, i)
		if !ok {
			return choice{}, false
		}
		c.score += weight
		c.showsUnit = at >= 0
		c.pattern = l.pattern(i, i, at, written+"(?P<value>"+l.sep.value+")")
	}
	return c, true
}

// decimalComma weighs two fields that may be one number with a decimal comma.
func (l layout) decimalComma(i int) (choice, bool) {
	var whole, parts []string
	for _, row := range l.rows {
		if !wholeNumber.MatchString(row[i]) || !fraction.MatchString(row[i+1]) || len(row[i+1]) != len(l.rows[0][i+1]) {
			return choice{}, false
		}
		whole, parts = append(whole, row[i]), append(parts, row[i+1])
	}
	at, weight, ok := l.unitOf(i, i+1)
	if !ok {
		return choice{}, false
	}
	score := weighValues(whole) + weight + 3
	if len(parts) > 1 && constant(parts) { // more likely a status than a fraction
		score -= 8
	}
	return choice{score: score, showsUnit: at >= 0, pattern: l.pattern(i, i+1, at, `(?P<value>[-+]?\d+,\d+|`+overloadForm+")")}, true
}

// unitOf finds the field with the unit of a value in the fields from first to
// last; at is -1 when there is none. It reports false when the value has a unit
// of something else.
func (l layout) unitOf(first, last int) (at, weight int, ok bool) {
	n := len(l.rows[0])
	unitFirst := l.unitFirst()
	if i := last + 1; !unitFirst && i < n && l.isUnit(i) {
		return i, 8, l.isUnitOf(i)
	}
	if i := first - 1; i >= 0 && l.isUnitOf(i) && !(last+1 < n && l.isUnit(last+1) && !unitFirst) {
		return i, 5, true
	} else if unitFirst && i >= 0 && l.isUnit(i) {
		return -1, 0, false
	}
	for i := last + 2; i < n; i++ {
		if l.isUnitOf(i) {
			return i, 4, true
		}
	}
	return -1, 0, true
}

// unitFirst reports whether units stand before their values: one does not
// follow a number.
func (l layout) unitFirst() bool {
	for i := range l.rows[0] {
		if l.isUnit(i) {
			return i == 0 || inField.FindStringSubmatch(l.rows[0][i-1]) == nil
		}
	}
	return false
}

func (l layout) isUnit(i int) bool {
	return l.every(i, func(text string) bool { return number.IsUnit(text, l.q) })
}

func (l layout) isUnitOf(i int) bool {
	return l.every(i, func(text string) bool { return isUnitOf(text, l.q) })
}

func isUnitOf(text string, q driver.Quantity) bool {
	_, err := number.ParseUnit(text, q)
	return err == nil
}

func (l layout) every(i int, is func(string) bool) bool {
	for _, row := range l.rows {
		if text := strings.TrimSpace(row[i]); text == "" || !is(text) {
			return false
		}
	}
	return true
}

// pattern is the expression of a whole line with value for the fields from
// first to last and the unit in its field, if it has one.
func (l layout) pattern(first, last, unit int, value string) string {
	var fields []string
	for i := 0; i < len(l.rows[0]); i++ {
		switch {
		case i == first:
			fields = append(fields, l.padding()+value+l.padding())
			i = last
		case i == unit:
			fields = append(fields, "(?P<unit>"+l.sep.field+")")
		default:
			fields = append(fields, l.sep.field)
		}
	}
	whole := "^" + l.sep.start + strings.Join(fields, l.sep.joint) + "$"
	return strings.ReplaceAll(whole, "'", `\x27`) // it goes between single quotes
}

// padding allows for the blanks that stand beside the separators; the groups
// take them along otherwise, which does no harm to a value alone.
func (l layout) padding() string {
	for _, row := range l.rows {
		for _, text := range row {
			if text != strings.TrimSpace(text) {
				return `\s*`
			}
		}
	}
	return ""
}

// weighValues says how much the texts of a field look like measured values and
// how little like a counter or a status.
func weighValues(values []string) int {
	score := 0
	first := strings.TrimSpace(values[0])
	if strings.ContainsAny(first, ".,+-eE") {
		score += 3
	} else if len(first) > 1 && first[0] == '0' {
		score -= 4
	}
	if constant(values) && len(first) <= 2 {
		score -= 5
	}
	if countsUp(values) {
		score -= 6
	}
	return score
}

func constant(values []string) bool {
	for _, v := range values {
		if v != values[0] {
			return false
		}
	}
	return true
}

// countsUp reports whether values grow by the same step from line to line, as
// a counter and the seconds of a clock do.
func countsUp(values []string) bool {
	if len(values) < 3 {
		return false
	}
	step := 0.0
	for i := range values[1:] {
		a, okA := number.ParseDecimal(strings.TrimSpace(values[i]))
		b, okB := number.ParseDecimal(strings.TrimSpace(values[i+1]))
		d := b.Value(0) - a.Value(0)
		if !okA || !okB || d == 0 || i > 0 && d != step {
			return false
		}
		step = d
	}
	return true
}

var labels = map[driver.Quantity]*regexp.Regexp{
	driver.Resistance:  regexp.MustCompile(`^(?i:R|RX|RES\w*|OHMS?)\W*$`),
	driver.Temperature: regexp.MustCompile(`^(?i:T|TEMP\w*)\W*$`),
}

// weighLabel says how much a label such as "T=" speaks for a quantity.
func weighLabel(label string, q driver.Quantity) int {
	switch {
	case label == "":
		return 0
	case labels[q].MatchString(strings.TrimSpace(label)):
		return 5
	}
	return -2
}
