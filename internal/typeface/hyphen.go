package typeface

import (
	"encoding/binary"
	"fmt"

	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
)

// hyphenated returns a font with a hyphen as wide as a hyphen. That of these fonts
// is drawn as a minus sign, for programs, and the serial number HN-0042 would read
// as a difference; their soft hyphen has the right shape. The tables are those of
// the OpenType specification, version 1.9: head, hhea, hmtx, loca and glyf.
func hyphenated(ttf []byte) ([]byte, error) {
	f, err := opentype.Parse(ttf)
	if err != nil {
		return nil, err
	}
	var buffer sfnt.Buffer
	wide, err := f.GlyphIndex(&buffer, '-')
	if err != nil {
		return nil, err
	}
	narrow, err := f.GlyphIndex(&buffer, '\u00ad')
	if err != nil {
		return nil, err
	}
	font := append([]byte(nil), ttf...)
	tables := map[string][]byte{}
	for i := range int(binary.BigEndian.Uint16(font[4:])) {
		entry := font[12+16*i:]
		from, length := binary.BigEndian.Uint32(entry[8:]), binary.BigEndian.Uint32(entry[12:])
		tables[string(entry[:4])] = font[from : from+length]
	}
	shape := func(glyph sfnt.GlyphIndex) []byte {
		loca, at := tables["loca"], func(i int) int { return 2 * int(binary.BigEndian.Uint16(tables["loca"][2*i:])) }
		if binary.BigEndian.Uint16(tables["head"][50:]) == 1 { // long offsets
			at = func(i int) int { return int(binary.BigEndian.Uint32(loca[4*i:])) }
		}
		return tables["glyf"][at(int(glyph)):at(int(glyph)+1)]
	}
	from, to := shape(narrow), shape(wide)
	metrics := int(binary.BigEndian.Uint16(tables["hhea"][34:]))
	if len(from) == 0 || len(from) > len(to) || int(max(wide, narrow)) >= metrics {
		return nil, fmt.Errorf("the soft hyphen, %d bytes, has no room in the place of the hyphen, %d bytes", len(from), len(to))
	}
	copy(to, from)
	copy(tables["hmtx"][4*wide:4*wide+4], tables["hmtx"][4*narrow:])
	return font, nil
}
