package pages

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"net/http"
	"path"
	"time"

	"coilkeep/internal/chart"
	"coilkeep/internal/web/problem"
)

// asset serves an embedded file.
func asset(w http.ResponseWriter, r *http.Request) error {
	name := r.PathValue("file")
	contentType := assetTypes[path.Ext(name)]
	content, err := files.ReadFile("assets/" + name)
	if err != nil || contentType == "" {
		return problem.NotFound.Because("there is no file %q here", name)
	}
	sendAsset(w, r, contentType, content)
	return nil
}

// sendAsset answers with a file that only another release changes. Browsers keep
// it and ask whether it is still the same.
func sendAsset(w http.ResponseWriter, r *http.Request, contentType string, content []byte) {
	h := w.Header()
	h.Set("Content-Type", contentType)
	h.Set("Cache-Control", "no-cache")
	h.Set("ETag", fmt.Sprintf(`"%x"`, sha256.Sum256(content)))
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(content))
}

// assetTypes gives the content type of assets by the ending of their name.
var assetTypes = map[string]string{
	".css": "text/css; charset=utf-8",
	".js":  "text/javascript; charset=utf-8",
	".svg": "image/svg+xml",
}

// chartStyle serves the colours of the pictures.
func chartStyle(w http.ResponseWriter, r *http.Request) error {
	sendAsset(w, r, assetTypes[".css"], []byte(chart.Stylesheet()))
	return nil
}
