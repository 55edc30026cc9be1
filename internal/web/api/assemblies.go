package api

import (
	"cmp"
	"context"
	"net/http"

	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
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
	workshop.AssemblyRequest
}

func (a assemblies) add(ctx context.Context, request newAssembly) (record.Assembly, error) {
	request.By = cmp.Or(request.By, request.Login)
	return a.kept.AddAssembly(ctx, request.Assembly(), request.TakeApart)
}

func (a assemblies) show(ctx context.Context, request ofCoil) (record.Assembly, error) {
	return a.kept.Assembly(ctx, request.Serial)
}
