package web

import "html/template"

// recordRoutes lists what can be asked of the records: their pages and files,
// and the part of the API that only they use.
func (s *site) recordRoutes() []route {
	return nil
}

// recordWords are the template functions of the record pages.
func recordWords() template.FuncMap {
	return nil
}
