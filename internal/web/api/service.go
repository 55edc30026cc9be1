package api

import (
	"net/http"
	"reflect"

	"coilkeep/internal/bench"
	"coilkeep/internal/record"
)

// followed is which events are wanted.
type followed struct {
	// Tell of this bench only.
	Bench string `query:"bench"`
	// Id of the last measurement seen; those after it are told first.
	LastEventID string `header:"Last-Event-ID"`
}

// Served lists what the description tells of beside the endpoints, because the
// server answers it by itself and not in JSON.
func Served() []Endpoint {
	served := func(path string, about About) Endpoint {
		about.Tag = Service
		return Endpoint{Method: http.MethodGet, Path: path, Status: http.StatusOK, About: about}
	}
	events := served("/api/v1/events", About{ID: "events", Summary: "What happens, as server-sent events",
		Description: "As the HTML standard has them. A client that is too slow is cut off; it comes back with the id of the last " +
			"measurement it saw.",
		Media: "text/event-stream",
		Says: "Events of the types state (a Bench), reading (a LiveReading), measurement (a Measurement that is durable, with its id as " +
			"the event's id), instrument (an InstrumentEvent), unrecorded (an UnrecordedEvent), verdict (a VerdictChange) and heartbeat " +
			"(a time, every two seconds). The stream begins with a state event for each bench.",
		Also: []reflect.Type{reflect.TypeFor[bench.Snapshot](), reflect.TypeFor[bench.ReadingData](), reflect.TypeFor[record.Measurement](),
			reflect.TypeFor[bench.InstrumentData](), reflect.TypeFor[bench.UnrecordedData](), reflect.TypeFor[bench.VerdictChange]()}})
	events.Request = reflect.TypeFor[followed]()
	return []Endpoint{
		served("/healthz", About{ID: "healthz", Summary: "Whether the daemon is alive; needs no password",
			Description: "It answers as long as the program runs.",
			Says:        "It is.", Media: "text/plain"}),
		served("/readyz", About{ID: "readyz", Summary: "Whether a coil clipped on now would be kept; needs no password",
			Description: "The history takes writes, every bench runs, and nothing waits to be saved. A meter that is unplugged does not matter " +
				"here.",
			Says:  "It would.",
			Media: "text/plain"}),
		served("/metrics", About{ID: "metrics", Summary: "Metrics for Prometheus",
			Description: "In the text format of Prometheus. No serial number is in it.",
			Says:        "All metrics.", Media: "text/plain"}),
		served("/api/v1/openapi.json", About{ID: "openapi", Summary: "This document", Description: "It is made from the types of the program.",
			Says: "This document.", Media: "application/json"}),
		events,
	}
}
