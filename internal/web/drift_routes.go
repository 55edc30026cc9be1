package web

// driftRoutes lists what can be asked about winders that wander: of batches and
// winders, the spool book, pairs, and studies of the measuring.
func (s *site) driftRoutes() []route {
	return []route{
		{"POST", "/batches/{batch}/drift/acknowledge", s.forPeople(s.acknowledgeForm)},
		{"POST", "/batches/{batch}/baseline", s.forPeople(s.baselineForm)},
		{"GET", "/batches/{batch}/drift.pdf", s.forPeople(s.batchDriftPDF)},
		{"GET", "/winders", s.forPeople(s.windersPage)},
		{"GET", "/winders/{winder}", s.forPeople(s.winderPage)},
		{"GET", "/winders/{winder}/drift.pdf", s.forPeople(s.winderDriftPDF)},
		{"GET", "/spools", s.forPeople(s.spoolsPage)},
		{"GET", "/pairs", s.forPeople(s.pairsPage)},
		{"GET", "/studies", s.forPeople(s.studiesPage)},
		{"POST", "/studies", s.forPeople(s.planStudy)},
		{"GET", "/studies/{study}", s.forPeople(s.studyPage)},
		{"POST", "/studies/{study}/measure", s.forPeople(s.measureStudy)},
	}
}
