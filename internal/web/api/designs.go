package api

import (
	"context"
	"net/http"

	"coilkeep/internal/cooling"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

// designs keeps what coils should be.
type designs struct{ kept DesignRecords }

// DesignRecords keeps designs, and how their coils cooled.
type DesignRecords interface {
	Designs(ctx context.Context) ([]record.Design, error)
	Design(ctx context.Context, name string) (record.Design, error)
	DesignRevisions(ctx context.Context, name string) ([]record.Design, error)
	AddDesign(ctx context.Context, design record.Design, who string) (record.Design, error)
	ReviseDesign(ctx context.Context, design record.Design, who string) (record.Design, error)
	CoolingCurves(ctx context.Context, design string) ([]record.CoolingCurve, error)
}

func (d designs) endpoints() []Endpoint {
	return []Endpoint{
		endpoint("GET", "/api/v1/designs", http.StatusOK, d.list,
			About{ID: "listDesigns", Tag: Designs, Summary: "The latest revision of every design",
				Description: "Earlier revisions come with each design alone.",
				Says:        "The designs by name."}),
		endpoint("POST", "/api/v1/designs", http.StatusCreated, d.add,
			About{ID: "addDesign", Tag: Designs, Summary: "Add a design",
				Description: "A target needs a tolerance: in percent, in ohms, or as the lowest and highest resistance allowed.",
				Says:        "Its first revision.", Needs: []string{"name", "target_ohms"}}),
		endpoint("GET", "/api/v1/designs/{design}", http.StatusOK, d.show,
			About{ID: "showDesign", Tag: Designs, Summary: "A design with all its revisions",
				Description: "Coils are judged by the revision their batch began with.",
				Says:        "The design."}),
		endpoint("POST", "/api/v1/designs/{design}/revisions", http.StatusCreated, d.revise,
			About{ID: "reviseDesign", Tag: Designs, Summary: "Add a revision of a design",
				Description: "Open batches stay with the revision they began with.", Says: "The new revision."}),
		endpoint("GET", "/api/v1/designs/{design}/cooling", http.StatusOK, d.cooling,
			About{ID: "cooling", Tag: Designs, Summary: "How coils of a design cooled on the clips, and what that proposes",
				Description: "Coils that were left on the clips show how fast they cool. Nothing uses the proposal until the design is revised.",
				Says:        "The curves, the newest first, and the proposal; null while fewer than 3 coils have shown theirs."}),
	}
}

// designList is all designs.
type designList struct {
	Designs []record.Design `json:"designs"` // by name
}

func (d designs) list(ctx context.Context, _ struct{}) (designList, error) {
	list, err := d.kept.Designs(ctx)
	return designList{list}, err
}

// ofDesign is a request about one design.
type ofDesign struct {
	// Name of the design.
	Design string `path:"design"`
}

func (d designs) show(ctx context.Context, request ofDesign) (workshop.DesignAnswer, error) {
	revisions, err := d.kept.DesignRevisions(ctx, request.Design)
	if err != nil {
		return workshop.DesignAnswer{}, err
	}
	return workshop.DesignAnswer{Design: revisions[len(revisions)-1], Revisions: revisions}, nil
}

type newDesign struct {
	login
	workshop.DesignRequest
}

func (d designs) add(ctx context.Context, request newDesign) (record.Design, error) {
	design, err := workshop.NewDesign(request.DesignRequest)
	if err != nil {
		return design, err
	}
	return d.kept.AddDesign(ctx, design, request.Login)
}

type revisedDesign struct {
	ofDesign
	login
	workshop.DesignRequest
}

func (d designs) revise(ctx context.Context, request revisedDesign) (record.Design, error) {
	latest, err := d.kept.Design(ctx, request.Design)
	if err != nil {
		return latest, err
	}
	design, err := workshop.ReviseDesign(latest, request.DesignRequest)
	if err != nil {
		return design, err
	}
	return d.kept.ReviseDesign(ctx, design, request.Login)
}

// coolingAnswer is curves and proposal.
type coolingAnswer struct {
	// The newest first.
	Curves []record.CoolingCurve `json:"curves"`
	// What they propose; null while too few coils have shown theirs.
	Proposal *cooling.Proposal `json:"proposal"`
}

func (d designs) cooling(ctx context.Context, request ofDesign) (coolingAnswer, error) {
	if _, err := d.kept.DesignRevisions(ctx, request.Design); err != nil {
		return coolingAnswer{}, err
	}
	curves, err := d.kept.CoolingCurves(ctx, request.Design)
	return coolingAnswer{curves, workshop.ProposeCooling(curves)}, err
}
