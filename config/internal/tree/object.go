package tree

import (
	"encoding"
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v4"
)

// object decodes a mapping with known keys.
func (d *Doc) object(n *yaml.Node, path Path, v reflect.Value, want string) {
	setDefaults(v)
	if n.Kind != yaml.MappingNode {
		d.wrongType(n, path, want)
		return
	}
	fields := fieldsOf(v.Type())
	given := map[string]bool{}
	for key, val := range d.pairs(n, path) {
		at := path.With(key.Value)
		i := slices.IndexFunc(fields, func(f field) bool { return f.key == key.Value })
		if i < 0 {
			d.report(key.Line, key.Column, at, "%s", unknownKey(key.Value, fields))
			continue
		}
		given[key.Value] = true
		d.value(val, at, v.Field(i), fields[i].wanted())
		d.limits(target(val), at, fields[i], v.Field(i))
	}
	for _, f := range fields {
		if f.required && !given[f.key] {
			d.report(n.Line, n.Column, path.With(f.key), "%s is missing: give %s", f.key, f.wanted())
		}
	}
}

func unknownKey(key string, fields []field) string {
	var known []string
	for _, f := range fields {
		known = append(known, f.key)
	}
	if near := Nearest(key, known); near != "" {
		return fmt.Sprintf("%s is not a known key: did you mean %s?", quoteOdd(key), near)
	}
	return fmt.Sprintf("%s is not a known key: here one can give %s", quoteOdd(key), OneOf(known))
}

// quoteOdd quotes keys that would not read as a word in a sentence.
func quoteOdd(key string) string {
	if key == "" || strings.ContainsFunc(key, func(r rune) bool { return r <= ' ' || r > '~' }) {
		return strconv.Quote(Clip(key))
	}
	return Clip(key)
}

// limits checks a decoded value against its field's tags.
func (d *Doc) limits(n *yaml.Node, path Path, f field, v reflect.Value) {
	for v.Kind() == reflect.Pointer && !v.IsNil() {
		v = v.Elem()
	}
	switch v.Kind() {
	case reflect.String:
		if len(f.enum) > 0 && !slices.Contains(f.enum, v.String()) {
			hint := "give " + OneOf(f.enum)
			if near := Nearest(v.String(), f.enum); near != "" {
				hint = "did you mean " + near + "? " + hint
			}
			d.report(n.Line, n.Column, path, "%s is %q: %s", path.Name(), Clip(v.String()), hint)
		}
	case reflect.Int, reflect.Float64:
		x := 0.0
		if v.Kind() == reflect.Int {
			x = float64(v.Int())
		} else {
			x = v.Float()
		}
		if f.min != nil && x < *f.min || f.above != nil && x <= *f.above || f.max != nil && x > *f.max {
			d.report(n.Line, n.Column, path, "%s is %s: give %s", path.Name(), Clip(n.Value), f.wanted())
		}
	case reflect.Slice:
		if v.Len() < f.minItems {
			d.report(n.Line, n.Column, path, "%s is an empty list: give at least %d", path.Name(), f.minItems)
		}
	}
}

// A field is what the tags of a struct field say.
type field struct {
	key             string
	typ             reflect.Type
	required        bool
	enum            []string
	min, max, above *float64
	minItems        int
	def             string
	instead         string
}

func fieldsOf(t reflect.Type) []field {
	fields := make([]field, t.NumField())
	for i := range fields {
		sf := t.Field(i)
		f := field{key: sf.Tag.Get("yaml"), typ: sf.Type, instead: "leave it out"}
		if s, ok := sf.Tag.Lookup("instead"); ok {
			f.instead = s
		}
		for word := range words(sf.Tag.Get("jsonschema")) {
			name, val, _ := strings.Cut(word, "=")
			switch name {
			case "required":
				f.required = true
			case "enum":
				f.enum = append(f.enum, val)
			case "minimum":
				f.min = number(val)
			case "maximum":
				f.max = number(val)
			case "exclusiveMinimum":
				f.above = number(val)
			case "minItems":
				f.minItems = int(*number(val))
			case "default":
				f.def = val
			}
		}
		fields[i] = f
	}
	return fields
}

// words yields the parts of a tag between its commas; a comma after a backslash
// is part of a word.
func words(tag string) func(yield func(string) bool) {
	return func(yield func(string) bool) {
		const comma = "\x00"
		for w := range strings.SplitSeq(strings.ReplaceAll(tag, `\,`, comma), ",") {
			if !yield(strings.ReplaceAll(w, comma, ",")) {
				return
			}
		}
	}
}

func number(s string) *float64 {
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		panic("tree: a tag is a mistake in this program: " + err.Error())
	}
	return &x
}

// wanted says what the field may hold.
func (f field) wanted() string {
	if len(f.enum) > 0 {
		return OneOf(f.enum)
	}
	w := wanted(f.typ)
	show := func(x *float64) string { return strconv.FormatFloat(*x, 'f', -1, 64) }
	switch {
	case f.above != nil && f.max != nil:
		return w + " above " + show(f.above) + " and at most " + show(f.max)
	case f.above != nil:
		return w + " above " + show(f.above)
	case f.min != nil && f.max != nil:
		return w + " from " + show(f.min) + " to " + show(f.max)
	case f.min != nil:
		return w + " of at least " + show(f.min)
	}
	return w
}

// setDefaults gives the fields of a struct the defaults of their tags, also
// those of structs in it that the file may not mention.
func setDefaults(v reflect.Value) {
	for i, f := range fieldsOf(v.Type()) {
		fv := v.Field(i)
		if fv.Kind() == reflect.Struct && f.def == "" && !fv.Addr().Type().Implements(textType) {
			setDefaults(fv)
			continue
		}
		if f.def == "" {
			continue
		}
		if fv.Kind() == reflect.Pointer {
			fv.Set(reflect.New(fv.Type().Elem()))
			fv = fv.Elem()
		}
		if err := setDefault(fv, f.def); err != nil {
			panic("tree: the default of " + f.key + " is a mistake in this program: " + err.Error())
		}
	}
}

func setDefault(v reflect.Value, s string) error {
	if t, ok := v.Addr().Interface().(encoding.TextUnmarshaler); ok {
		return t.UnmarshalText([]byte(s))
	}
	switch v.Kind() {
	case reflect.String:
		v.SetString(s)
		return nil
	case reflect.Int:
		i, err := strconv.ParseInt(s, 10, 32)
		v.SetInt(i)
		return err
	default:
		x, err := strconv.ParseFloat(s, 64)
		v.SetFloat(x)
		return err
	}
}
