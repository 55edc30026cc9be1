package web

// recordRoutes lists what can be asked of the records: their pages and files,
// and the part of the API that only they use.
func (s *site) recordRoutes() []route {
	return []route{
	}
}
