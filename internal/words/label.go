package words

import (
	"regexp"
	"strings"
)

// CertificateTitle stands on a certificate above the serial number.
const CertificateTitle = "Certificate of resistance"

// LabelText is what the code on a label or certificate says of a coil, in plain
// letters that every reader shows: "HN-0042 R20 6.690 +- 0.018 kohm 2026-03-14".
// [SerialRead] reads it.
func LabelText(serial string, r20Ohms, expandedUncertaintyOhms float64, day string) string {
	return serial + " R20 " + OhmsInLetters(r20Ohms, expandedUncertaintyOhms) + " " + day
}

// labelText is what LabelText writes, in the capitals some scanners make of it and
// with the signs a person may copy from a page.
var labelText = regexp.MustCompile(`(?i)^(.+) R20 [0-9.]+ (?:(?:\+-|±) [0-9.]+ )?[km]?(?:ohm|Ω|Ω)(?: [0-9]{4}-[0-9]{2}-[0-9]{2})?$`)

// SerialRead is the serial number in what was scanned, pasted or typed where one is
// asked for: of the text of a label, of a certificate, or what was told itself.
// Whatever takes a serial number from a person reads it by this.
func SerialRead(text string) string {
	lines := strings.Split(strings.TrimSpace(text), "\n")
	for i, line := range lines {
		line = strings.TrimSpace(line)
		if label := labelText.FindStringSubmatch(line); label != nil {
			return strings.TrimSpace(label[1])
		}
		if strings.EqualFold(line, CertificateTitle) && i+1 < len(lines) {
			return strings.TrimSpace(lines[i+1])
		}
	}
	return strings.TrimSpace(text)
}
