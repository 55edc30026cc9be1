// Package pdftest reads the words back out of the PDF documents that this program
// writes, for the tests of other packages. It knows as much of PDF (ISO 32000-1)
// as those documents use: deflated streams, and text in two-byte Unicode. Nothing
// but tests imports it.
package pdftest

import (
	"bytes"
	"compress/zlib"
	"io"
	"regexp"
	"strconv"
	"testing"
	"unicode/utf16"
)

// Piece is one piece of text on a page. X and Y are the left end of its baseline,
// from the lower left corner of the page, and Size that of the font, in points.
type Piece struct {
	X, Y, Size float64
	Text       string
}

// Pages returns the texts on each page, in the order they were drawn. A document
// without a page, or a page whose text cannot be read, fails the test.
func Pages(tb testing.TB, document []byte) [][]string {
	tb.Helper()
	var pages [][]string
	for _, pieces := range Pieces(tb, document) {
		var texts []string
		for _, p := range pieces {
			texts = append(texts, p.Text)
		}
		pages = append(pages, texts)
	}
	return pages
}

// Pieces is Pages with the place and size of each text.
func Pieces(tb testing.TB, document []byte) [][]Piece {
	tb.Helper()
	var pages [][]Piece
	for _, stream := range streams(document) {
		if bytes.Contains(stream, []byte("BT ")) {
			pages = append(pages, shown(tb, stream))
		}
	}
	if len(pages) == 0 {
		tb.Fatalf("no page with text in a document of %d bytes", len(document))
	}
	return pages
}

// Size returns the width and height of the first page, in points.
func Size(tb testing.TB, document []byte) (width, height float64) {
	tb.Helper()
	box := mediaBox.FindSubmatch(document)
	if box == nil {
		tb.Fatal("the document does not say how large its pages are")
	}
	return number(tb, box[1]), number(tb, box[2])
}

var (
	mediaBox = regexp.MustCompile(`/MediaBox \[0 0 ([0-9.]+) ([0-9.]+)\]`)
	begin    = regexp.MustCompile(`stream\r?\n`)
)

func number(tb testing.TB, text []byte) float64 {
	tb.Helper()
	v, err := strconv.ParseFloat(string(text), 64)
	if err != nil {
		tb.Fatal(err)
	}
	return v
}

// streams returns every stream that is deflated, inflated.
func streams(document []byte) [][]byte {
	var all [][]byte
	for _, at := range begin.FindAllIndex(document, -1) {
		z, err := zlib.NewReader(bytes.NewReader(document[at[1]:]))
		if err != nil {
			continue // endstream, or a stream of another kind
		}
		if plain, err := io.ReadAll(z); err == nil {
			all = append(all, plain)
		}
	}
	return all
}

// shown returns what operators in a content stream show. Between two strings stand
// the font's size, if it changes, and the place.
func shown(tb testing.TB, content []byte) []Piece {
	tb.Helper()
	var (
		pieces []Piece
		size   float64
		from   int // the end of the string before
	)
	for i := 0; i < len(content); i++ {
		if content[i] != '(' {
			continue
		}
		between := content[from:i]
		if all := fontSize.FindAllSubmatch(between, -1); all != nil {
			size = number(tb, all[len(all)-1][1])
		}
		at := place.FindSubmatch(between)
		if at == nil || size == 0 {
			tb.Fatalf("a text has no place or no size: %q", between)
		}
		raw, after := literal(content, i+1)
		pieces = append(pieces, Piece{X: number(tb, at[1]), Y: number(tb, at[2]), Size: size, Text: decode(tb, raw)})
		i, from = after, after
	}
	return pieces
}

var (
	fontSize = regexp.MustCompile(`/F\S+ ([0-9.]+) Tf`)
	place    = regexp.MustCompile(`BT (-?[0-9.]+) (-?[0-9.]+) Td`)
)

func decode(tb testing.TB, raw []byte) string {
	tb.Helper()
	if len(raw)%2 != 0 {
		tb.Fatalf("a text of %d bytes is not two-byte Unicode: %q", len(raw), raw)
	}
	units := make([]uint16, len(raw)/2)
	for k := range units {
		units[k] = uint16(raw[2*k])<<8 | uint16(raw[2*k+1])
	}
	return string(utf16.Decode(units))
}

// literal returns the bytes of the literal string that begins at from and where
// it ends (ISO 32000-1, 7.3.4.2).
func literal(content []byte, from int) (raw []byte, end int) {
	for i := from; i < len(content); i++ {
		switch c := content[i]; c {
		case ')':
			return raw, i
		case '\\':
			i++
			if r := content[i]; r == 'r' {
				raw = append(raw, '\r')
			} else {
				raw = append(raw, r)
			}
		default:
			raw = append(raw, c)
		}
	}
	return raw, len(content)
}
