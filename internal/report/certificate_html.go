package report

import (
	"embed"
	"fmt"
	"html/template"
	"io"
)

//go:embed templates
var templateFiles embed.FS

var certificateTemplate = template.Must(template.ParseFS(templateFiles, "templates/certificate.html"))

// WriteHTML writes the certificate as one article element for a page to print:
// no styles and no scripts, classes where the page's own styles are wanted.
func (c *Certificate) WriteHTML(w io.Writer) error {
	if err := certificateTemplate.Execute(w, c); err != nil {
		return fmt.Errorf("certificate of %s: %w", c.Heading, err)
	}
	return nil
}
