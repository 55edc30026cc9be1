package web

import (
	"coilkeep/internal/record"
)

// recordRoutes lists what can be asked of the records: their pages and files,
// and the part of the API that only they use.
func (s *site) recordRoutes() []route {
	return []route{
		{"GET", "/batches", s.forPeople(s.batchesPage)},
		{"GET", "/batches/{batch}", s.forPeople(s.batchPage)},
		{"GET", "/batches/{batch}/measurements.csv", s.forPeople(s.exportBatch(record.CSV, "text/csv; charset=utf-8"))},
		{"GET", "/batches/{batch}/measurements.jsonl", s.forPeople(s.exportBatch(record.JSONL, "application/jsonl"))},
		{"GET", "/batches/{batch}/labels.pdf", s.forPeople(s.batchLabels)},

		{"GET", "/designs", s.forPeople(s.designsPage)},
		{"POST", "/designs", s.forPeople(s.addDesignForm)},
		{"GET", "/designs/{design}", s.forPeople(s.designPage)},
		{"POST", "/designs/{design}", s.forPeople(s.reviseDesignForm)},
		{"POST", "/designs/{design}/learned", s.forPeople(s.useLearnedForm)},

		{"GET", "/instruments", s.forPeople(s.instrumentsPage)},
		{"GET", "/instruments/{bench}", s.forPeople(s.benchInstrumentsPage)},
		{"POST", "/instruments/{bench}/leads", s.forPeople(s.leadsForm)},
		{"POST", "/instruments/{bench}/standard", s.forPeople(s.standardForm)},
		{"POST", "/instruments/{bench}/calibrations", s.forPeople(s.calibrationForm)},
		{"GET", "/instruments/{bench}/recheck", s.forPeople(s.recheckPage)},

		{"GET", "/coils", s.forPeople(s.findPage)},
		{"GET", "/coils/{serial}", s.forPeople(s.coilPage)},
		{"POST", "/coils/{serial}/void", s.forPeople(s.voidCoil)},
		{"POST", "/coils/{serial}/assembly", s.forPeople(s.assemblyForm)},
		{"GET", "/coils/{serial}/certificate", s.forPeople(s.certificatePage)},
		{"GET", "/coils/{serial}/certificate.pdf", s.forPeople(s.certificatePDF)},
		{"GET", "/coils/{serial}/label.pdf", s.forPeople(s.coilLabel)},
	}
}
