package webui

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
)

// A described is what of a JSON Schema says how much may come.
type described struct {
	Ref        string `json:"$ref"`
	Type       any    // a name, or several
	Format     string
	Enum       []any
	Pattern    string
	MaxLength  *int
	MaxItems   *int
	Properties map[string]described
	Items      *described
}

func (d *described) is(kind string) bool {
	if list, ok := d.Type.([]any); ok {
		return slices.Contains(list, any(kind))
	}
	return d.Type == kind
}

// Whatever text or list comes in a request has a bound that the API's own document
// states, so that what is asked for it is refused before anything is done with it. What
// is in an address is bounded by the header that it comes in.
func TestEveryInputIsBounded(t *testing.T) {
	s := newStack(t, built)
	var doc struct {
		Paths map[string]map[string]struct {
			RequestBody *struct {
				Content map[string]struct{ Schema described }
			}
		}
		Components struct{ Schemas map[string]described }
	}
	if err := json.Unmarshal(s.get("/api/v1/openapi.json").Body.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	bounded := 0
	var look func(where string, d described)
	look = func(where string, d described) {
		if d.Ref != "" {
			d = doc.Components.Schemas[d.Ref[strings.LastIndexByte(d.Ref, '/')+1:]]
		}
		switch {
		case d.is("string"):
			bounded++
			// Of a text in a list the body is the bound.
			if !strings.HasSuffix(where, "[]") && d.MaxLength == nil && d.Enum == nil && d.Format == "" && d.Pattern == "" {
				t.Errorf("%s: a text of any length", where)
			}
		case d.is("array"):
			bounded++
			if d.MaxItems == nil {
				t.Errorf("%s: a list of any length", where)
			}
			look(where+"[]", *d.Items)
		}
		for name, p := range d.Properties {
			look(where+"."+name, p)
		}
	}
	for path, methods := range doc.Paths {
		for method, op := range methods {
			if op.RequestBody == nil {
				continue
			}
			for _, kind := range op.RequestBody.Content {
				look(method+" "+path, kind.Schema)
			}
		}
	}
	if bounded < 60 {
		t.Errorf("only %d texts and lists come in", bounded)
	}
}
