package api

import (
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"weald/stream/access"
	"weald/webui/route"
)

// How requests say who asks, as the document names it.
const (
	byCookie = "session"
	byToken  = "token"
	bySeat   = "seatLink"
)

var securitySchemes = map[string]*huma.SecurityScheme{
	byCookie: {Type: "apiKey", In: "cookie", Name: "weald", Description: "What log-in gives to a browser; __Host-weald over TLS. Needed where the configuration has web.accounts: required, as is the token"},
	byToken:  {Type: "http", Scheme: "bearer", Description: "A token for programs, which an admin makes"},
	bySeat:   {Type: "http", Scheme: "bearer", Description: "The key of a link to a seat: what stands behind the # in it"},
}

// operation describes the route with an id, which can fail with the given statuses.
// Method, path and who may ask are those of the table of routes.
func operation(id, summary string, errors ...int) huma.Operation {
	of := route.Of(id)
	if of == nil {
		panic("api: the table of routes has no " + id) // a mistake in the program, at every start of it
	}
	op := huma.Operation{
		OperationID: id, Method: of.Method, Path: of.Path, Summary: summary,
		Errors: append(errors, http.StatusServiceUnavailable),
	}
	op.Security = []map[string][]string{{}} // nothing is asked for, and that is said
	if of.Least > access.Nobody {
		op.Security = []map[string][]string{{byCookie: {}}, {byToken: {}}}
		op.Extensions = map[string]any{"x-least-role": of.Least.String()}
		op.Errors = append(op.Errors, http.StatusUnauthorized, http.StatusForbidden)
	}
	return op
}

// noted describes a POST route that answers when what came is on the disk.
func noted(id, summary string, errors ...int) huma.Operation {
	op := operation(id, summary, append(errors, http.StatusUnprocessableEntity)...)
	op.DefaultStatus = http.StatusCreated
	return op
}

// step describes a POST route that changes what there is already.
func step(id, summary string, errors ...int) huma.Operation {
	op := noted(id, summary, errors...)
	op.DefaultStatus = http.StatusOK
	return op
}
