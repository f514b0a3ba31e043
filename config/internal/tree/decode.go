package tree

import (
	"encoding"
	"fmt"
	"reflect"

	"go.yaml.in/yaml/v4"
)

// OneOrMany is a list that may be written as its only member.
type OneOrMany[T any] []T

func (OneOrMany[T]) oneAllowed() {}

type oneAllowed interface{ oneAllowed() }

var (
	textType = reflect.TypeFor[encoding.TextUnmarshaler]()
	oneType  = reflect.TypeFor[oneAllowed]()
)

// Decode fills the struct that out points to, defaults first. What does not
// fit is reported and keeps its default or zero.
func (d *Doc) Decode(out any) { d.value(d.root, nil, reflect.ValueOf(out).Elem(), "a mapping of keys") }

// value decodes n, the value at path, into v. Want says what would be right.
func (d *Doc) value(n *yaml.Node, path Path, v reflect.Value, want string) {
	if d.values++; d.values > maxValues {
		d.report(n.Line, n.Column, Path{"---"}, "the file has more than %d values: too many aliases of aliases?", maxValues)
		return
	}
	n = target(n)
	switch {
	case n.Kind == yaml.ScalarNode && n.Tag == "!!null":
		d.report(n.Line, n.Column, path, "%s has no value: give %s, or leave the key out", path.Name(), want)
	case v.Kind() == reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		d.value(n, path, v.Elem(), want)
	case v.Addr().Type().Implements(textType):
		d.text(n, path, v, want)
	case v.Kind() == reflect.Struct:
		d.object(n, path, v, want)
	case v.Kind() == reflect.Slice:
		d.list(n, path, v, want)
	case v.Kind() == reflect.Array:
		d.array(n, path, v, want)
	case v.Kind() == reflect.Map:
		d.dictionary(n, path, v, want)
	default:
		d.scalar(n, path, v, want)
	}
}

func (d *Doc) list(n *yaml.Node, path Path, v reflect.Value, want string) {
	if n.Kind == yaml.MappingNode && v.Type().Implements(oneType) {
		n = &yaml.Node{Kind: yaml.SequenceNode, Line: n.Line, Column: n.Column, Content: []*yaml.Node{n}}
	}
	if n.Kind != yaml.SequenceNode {
		d.wrongType(n, path, want)
		return
	}
	v.Set(reflect.MakeSlice(v.Type(), len(n.Content), len(n.Content)))
	for i, c := range n.Content {
		if d.values > maxValues {
			v.Set(v.Slice(0, i))
			return
		}
		d.value(c, path.With(i), v.Index(i), wanted(v.Type().Elem()))
	}
}

func (d *Doc) array(n *yaml.Node, path Path, v reflect.Value, want string) {
	if n.Kind != yaml.SequenceNode {
		d.wrongType(n, path, want)
		return
	}
	if len(n.Content) != v.Len() {
		d.report(n.Line, n.Column, path, "%s is a list of %d: give %s", path.Name(), len(n.Content), want)
		return
	}
	for i, c := range n.Content {
		d.value(c, path.With(i), v.Index(i), wanted(v.Type().Elem()))
	}
}

// dictionary decodes a mapping whose keys are the user's own words.
func (d *Doc) dictionary(n *yaml.Node, path Path, v reflect.Value, want string) {
	if n.Kind != yaml.MappingNode {
		d.wrongType(n, path, want)
		return
	}
	v.Set(reflect.MakeMap(v.Type()))
	for key, val := range d.pairs(n, path) {
		e := reflect.New(v.Type().Elem()).Elem()
		d.value(val, path.With(key.Value), e, wanted(v.Type().Elem()))
		v.SetMapIndex(reflect.ValueOf(key.Value).Convert(v.Type().Key()), e)
	}
}

// pairs yields the keys of a mapping with their values, and reports the keys
// that are no words or that were there before.
func (d *Doc) pairs(n *yaml.Node, path Path) func(yield func(key, val *yaml.Node) bool) {
	return func(yield func(key, val *yaml.Node) bool) {
		first := map[string]int{}
		for i := 0; i+1 < len(n.Content); i += 2 {
			key, val := target(n.Content[i]), n.Content[i+1]
			switch line, again := first[key.Value]; {
			case key.Kind != yaml.ScalarNode:
				d.report(key.Line, key.Column, path.With("?"), "a key must be a word, not %s", found(key))
				continue
			case key.Tag == "!!merge":
				d.report(key.Line, key.Column, path.With("<<"), "merge keys (<<) are not supported: write the keys out")
				continue
			case again:
				d.report(key.Line, key.Column, path.With(key.Value, "again"),
					"%s is given twice, first on line %d: keep one", key.Value, line)
				continue
			}
			first[key.Value] = n.Content[i].Line
			if !yield(key, val) {
				return
			}
		}
	}
}

func (d *Doc) wrongType(n *yaml.Node, path Path, want string) {
	d.report(n.Line, n.Column, path, "%s is %s: give %s", path.Name(), found(n), want)
}

// found says what n is.
func found(n *yaml.Node) string {
	switch n.Kind {
	case yaml.SequenceNode:
		return "a list"
	case yaml.MappingNode:
		return "a mapping"
	}
	switch n.Tag {
	case "!!int", "!!float":
		return "the number " + Clip(n.Value)
	case "!!bool":
		return n.Value
	case "!!null":
		return "nothing"
	}
	return fmt.Sprintf("%q", Clip(n.Value))
}

// Clip shortens s to what has room in a message.
func Clip(s string) string {
	if r := []rune(s); len(r) > 60 {
		return string(r[:60]) + "…"
	}
	return s
}

// wanted says what a value of type t looks like in the file.
func wanted(t reflect.Type) string {
	if w, ok := reflect.New(t).Interface().(interface{ Wanted() string }); ok {
		return w.Wanted()
	}
	switch t.Kind() {
	case reflect.Pointer:
		return wanted(t.Elem())
	case reflect.String:
		return "text"
	case reflect.Bool:
		return "true or false"
	case reflect.Int:
		return "a whole number"
	case reflect.Float64:
		return "a number"
	case reflect.Slice:
		if t.Implements(oneType) {
			return "a mapping of keys, or a list of them"
		}
		return "a list"
	case reflect.Array:
		return fmt.Sprintf("a list of %d values", t.Len())
	}
	return "a mapping of keys"
}
