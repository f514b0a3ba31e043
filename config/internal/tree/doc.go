// Package tree reads a YAML document into Go values and keeps the place of
// every value, so that whoever finds something wrong with one can say on which
// line and in which column.
//
// It reports everything that it finds instead of stopping at the first: keys
// that are not known (with the nearest one that is), keys given twice, values
// of the wrong type, values outside the limits of a field's jsonschema tag, and
// keys that are missing. Only damage to the YAML itself ends the reading, for
// nobody can tell what follows it.
//
// What a field may hold stands in its tags, and the JSON Schema is made from
// the same tags:
//
//	Rate float64 `yaml:"rate" jsonschema:"required,exclusiveMinimum=0,maximum=10000"`
//
// The tags that count are required, enum, minimum, maximum, exclusiveMinimum,
// minItems and default. A type that reads itself from a scalar implements
// encoding.TextUnmarshaler; its errors complete a sentence that begins with the
// key, such as `is "soon": give a duration such as 30s`.
//
// Anchors and aliases work; merge keys do not. No input makes it panic.
package tree
