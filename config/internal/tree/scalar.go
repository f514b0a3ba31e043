package tree

import (
	"encoding"
	"fmt"
	"math"
	"reflect"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v4"
)

// text decodes a scalar into a type that reads itself. The scalar is taken as
// it is written, so that 0043 stays 0043 and a time need not be quoted.
func (d *Doc) text(n *yaml.Node, path Path, v reflect.Value, want string) {
	if n.Kind != yaml.ScalarNode {
		d.wrongType(n, path, want)
		return
	}
	if err := v.Addr().Interface().(encoding.TextUnmarshaler).UnmarshalText([]byte(n.Value)); err != nil {
		d.report(n.Line, n.Column, path, "%s %v", path.Name(), err)
	}
}

func (d *Doc) scalar(n *yaml.Node, path Path, v reflect.Value, want string) {
	if n.Kind != yaml.ScalarNode {
		d.wrongType(n, path, want)
		return
	}
	switch v.Kind() {
	case reflect.String:
		// A moment in time is text to us; other tags mean that YAML saw
		// something else than text in it.
		if n.Tag != "!!str" && n.Tag != "!!timestamp" {
			if want == "text" {
				want = fmt.Sprintf("text, in quotes where it looks like something else (%q)", Clip(n.Value))
			}
			d.wrongType(n, path, want)
			return
		}
		v.SetString(n.Value)
	case reflect.Bool:
		if b := n.Value; n.Tag == "!!bool" && (b == "true" || b == "false") {
			v.SetBool(b == "true")
			return
		}
		d.wrongType(n, path, want)
	case reflect.Int:
		d.integer(n, path, v, want)
	case reflect.Float64:
		d.float(n, path, v, want)
	default:
		panic("tree: a field of type " + v.Type().String() + " is a mistake in this program")
	}
}

func (d *Doc) integer(n *yaml.Node, path Path, v reflect.Value, want string) {
	if n.Tag != "!!int" {
		d.notNumber(n, path, want)
		return
	}
	digits := strings.TrimLeft(n.Value, "+-")
	i, err := strconv.ParseInt(n.Value, 10, 32)
	if err != nil || len(digits) > 1 && digits[0] == '0' {
		d.report(n.Line, n.Column, path, "%s is %s: give a whole number of up to nine plain digits, without a leading 0",
			path.Name(), Clip(n.Value))
		return
	}
	v.SetInt(i)
}

func (d *Doc) float(n *yaml.Node, path Path, v reflect.Value, want string) {
	if n.Tag != "!!float" && n.Tag != "!!int" {
		d.notNumber(n, path, want)
		return
	}
	f, err := strconv.ParseFloat(n.Value, 64)
	if err != nil || math.IsInf(f, 0) || math.IsNaN(f) {
		d.report(n.Line, n.Column, path, "%s is %s: give a finite number such as 23.5", path.Name(), Clip(n.Value))
		return
	}
	v.SetFloat(f)
}

// notNumber adds a hint for the two ways in which a number is missed: quotes
// and a decimal comma.
func (d *Doc) notNumber(n *yaml.Node, path Path, want string) {
	hint := ""
	if _, err := strconv.ParseFloat(strings.Replace(n.Value, ",", ".", 1), 64); err == nil {
		switch {
		case strings.Contains(n.Value, ","):
			hint = ", with a decimal point"
		case n.Style&(yaml.SingleQuotedStyle|yaml.DoubleQuotedStyle) != 0:
			hint = ", without quotes"
		}
	}
	d.report(n.Line, n.Column, path, "%s is %s: give %s%s", path.Name(), found(n), want, hint)
}
