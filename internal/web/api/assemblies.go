package api

import (
	"cmp"
	"context"
	"net/http"

	"coilkeep/internal/record"
)

// assemblies keeps which coils are sold as one.
type assemblies struct{ kept AssemblyRecords }

// AssemblyRecords keeps assemblies.
type AssemblyRecords interface {
	Assembly(ctx context.Context, serial string) (record.Assembly, error)
	AddAssembly(ctx context.Context, a record.Assembly, takeApart bool) (record.Assembly, error)
}

func (a assemblies) endpoints() []Endpoint {
	return []Endpoint{
		endpoint("POST", "/api/v1/assemblies", http.StatusCreated, a.add,
			About{ID: "addAssembly", Tag: Coils, Summary: "Keep that two coils are sold as one",
				Description: "Each keeps its own record. Both must have been measured.", Says: "The assembly as kept."}),
		endpoint("GET", "/api/v1/assemblies/{serial}", http.StatusOK, a.show,
			About{ID: "showAssembly", Tag: Coils, Summary: "The assembly that a serial number is in",
				Description: "The number may be that of the whole or of one of its coils.", Says: "The assembly."}),
	}
}

// newAssembly is the assembly. Where one of its numbers is in an earlier one, the
// answer is 409, unless that is to be taken apart.
type newAssembly struct {
	login
	// Serial number of the two together; both in series may be measured under it.
	Serial string `json:"serial"`
	// Serial number of the first coil.
	First string `json:"first"`
	// Serial number of the second coil.
	Second string `json:"second"`
	// Anything else.
	Note string `json:"note,omitempty"`
	// Who assembled them; left out: who sends this.
	By string `json:"by,omitempty"`
	// Earlier assemblies that one of the numbers is in count no longer, and the
	// journal says so.
	TakeApart bool `json:"take_apart,omitempty"`
}

func (a assemblies) add(ctx context.Context, request newAssembly) (record.Assembly, error) {
	return a.kept.AddAssembly(ctx, record.Assembly{Serial: request.Serial, First: request.First, Second: request.Second, Note: request.Note,
		By: cmp.Or(request.By, request.Login)}, request.TakeApart)
}

func (a assemblies) show(ctx context.Context, request ofCoil) (record.Assembly, error) {
	return a.kept.Assembly(ctx, request.Serial)
}
