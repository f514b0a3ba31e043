package config

import (
	_ "embed" // for the schema
	"slices"
)

//go:embed schema.json
var schema []byte

// Schema returns the JSON Schema (draft 2020-12) of the file, for editors. It
// knows keys, types and limits; what refers to what, and what makes sense
// together, only Parse can tell.
func Schema() []byte { return slices.Clone(schema) }
