package config

import (
	"encoding"
	"fmt"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	generate "github.com/invopop/jsonschema"

	"weald/config/figures"
	"weald/config/internal/shape"
	"weald/rules"
	"weald/rules/relief"
	"weald/stream/selfwatch"
)

// A setting is one key of the configuration.
type setting struct {
	path  string // the shortest that leads to it, as rules.relief.interval
	owner reflect.Type
	field reflect.StructField
}

// settings lists every key once, those that are reached first before the others.
func settings() (all []setting) {
	type node struct {
		path string
		t    reflect.Type
	}
	seen := map[reflect.Type]bool{}
	for queue := []node{{"", reflect.TypeFor[shape.File]()}}; len(queue) > 0; queue = queue[1:] {
		n := queue[0]
		if seen[n.t] {
			continue
		}
		seen[n.t] = true
		for i := range n.t.NumField() {
			f := n.t.Field(i)
			path := strings.TrimPrefix(n.path+"."+f.Tag.Get("yaml"), ".")
			all = append(all, setting{path, n.t, f})
			t := f.Type
			for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice || t.Kind() == reflect.Map {
				t = t.Elem()
			}
			if t.Kind() == reflect.Struct && !reflect.PointerTo(t).Implements(reflect.TypeFor[encoding.TextUnmarshaler]()) {
				queue = append(queue, node{path, t})
			}
		}
	}
	return all
}

// comment is the key of a setting's comment in what the generator reads.
func (s setting) comment() string {
	return s.owner.PkgPath() + "." + s.owner.Name() + "." + s.field.Name
}

// tag is the default that a tag states; "" for none.
func (s setting) tag() string {
	m := regexp.MustCompile(`(?:^|,)default=((?:\\,|[^,])*)`).FindStringSubmatch(s.field.Tag.Get("jsonschema"))
	if m == nil {
		return ""
	}
	return strings.ReplaceAll(m[1], `\,`, ",")
}

// from says where the default of a setting is from, and those that it has for one kind
// of rule alone.
func (s setting) from() string {
	var said []string
	if f := figures.Default(s.path); f.Name != "" {
		said = append(said, f.From())
	}
	for _, f := range figures.Defaults() {
		if path, kind, ok := strings.Cut(f.Name, "@"); ok && path == s.path {
			said = append(said, "for "+kind+": "+f.From())
		}
	}
	if len(said) == 0 {
		return ""
	}
	return " Where the default is from: " + strings.Join(said, "; ") + "."
}

// comments are the comments of the settings, in one line each.
func comments(t *testing.T) map[string]string {
	t.Helper()
	r := &generate.Reflector{}
	if err := r.AddGoComments("weald/config", "internal/shape"); err != nil {
		t.Fatal(err)
	}
	for key, text := range r.CommentMap {
		r.CommentMap[key] = strings.Join(strings.Fields(text), " ")
	}
	return r.CommentMap
}

// Every default is listed with its source, by the value that the file format gives it,
// and whoever writes a file is shown both; nothing else is listed.
func TestEachDefaultNamesItsSource(t *testing.T) {
	said, listed := comments(t), map[string]bool{}
	for _, f := range figures.Defaults() {
		listed[f.Name] = true
	}
	schema := defs(t)
	for _, s := range settings() {
		text, f := said[s.comment()], figures.Default(s.path)
		has := s.tag() != "" || strings.Contains(text, "Default")
		switch {
		case has && f.Name == "":
			t.Errorf("%s has a default, and figures/defaults.tsv does not say where it is from: %q", s.path, text)
			continue
		case !has && f.Name != "":
			t.Errorf("%s is listed in figures/defaults.tsv, and its description names no default", s.path)
		}
		delete(listed, s.path)
		if !has {
			continue
		}
		if !regexp.MustCompile(`Default:? ` + regexp.QuoteMeta(f.Value) + `([.:,;]|$)`).MatchString(text) {
			t.Errorf("%s: %q is listed, and its description is %q", s.path, f.Value, text)
		}
		if err := tagged(s, f.Value); err != nil {
			t.Errorf("%s: %v", s.path, err)
		}
		key, _, _ := strings.Cut(s.field.Tag.Get("yaml"), ",")
		if d := schema[s.owner.Name()].Properties[key].Description; !strings.Contains(d, f.From()) {
			t.Errorf("%s: the schema does not say that its default is from %q: %q", s.path, f.From(), d)
		}
		for name := range listed {
			if strings.HasPrefix(name, s.path+"@") {
				if !strings.Contains(schema[s.owner.Name()].Properties[key].Description, figures.Default(name).From()) {
					t.Errorf("the schema does not say where %s is from", name)
				}
				delete(listed, name)
			}
		}
	}
	for name := range listed {
		t.Errorf("%s is listed, and there is no such setting", name)
	}
}

// tagged compares what is listed with what a tag sets.
func tagged(s setting, listed string) error {
	words := map[string]string{"a comma": ",", "a point": "."}
	tag := s.tag()
	switch {
	case tag == "", words[listed] == tag:
		return nil
	case s.field.Type == reflect.TypeFor[shape.Duration]():
		if duration(listed) == duration(tag) && duration(tag) >= 0 {
			return nil
		}
	case listed == tag:
		return nil
	}
	return fmt.Errorf("%q is listed, and its tag has %q", listed, tag)
}

// duration reads one; -1 for none.
func duration(s string) time.Duration {
	var d shape.Duration
	if d.UnmarshalText([]byte(s)) != nil {
		return -1
	}
	return time.Duration(d)
}

// What rules have by default is what is listed.
func TestDefaultsOfRulesAreListed(t *testing.T) {
	for _, d := range rules.Defaults() {
		f := figures.OfRule(d.Kind, d.Key)
		got := ""
		switch v := d.Value.(type) {
		case time.Duration:
			if duration(f.Value) == v {
				continue
			}
			got = v.String()
		case float64:
			got = strconv.FormatFloat(v, 'g', -1, 64)
		case [2]float64:
			got = fmt.Sprintf("[%g, %g]", v[0], v[1])
		case []relief.Kind:
			if got = fmt.Sprint(v); len(v) == 3 {
				got = "all"
			}
		default:
			got = fmt.Sprint(v)
		}
		if f.Value != got {
			t.Errorf("%s of %s is %s, and %q is listed", d.Key, d.Kind, got, f.Value)
		}
	}
}

// What the daemon watches of itself has the limits that are listed.
func TestDefaultsOfSelfWatchAreListed(t *testing.T) {
	for _, k := range selfwatch.Kinds {
		limit, rest, _ := strings.Cut(figures.Default("self."+k.ID).Value, ", priority ")
		limit, after, waits := strings.Cut(limit, " after ")
		if !waits {
			after = "0s"
		}
		if limit != fmt.Sprintf("limit %g", k.Default.Limit) || duration(after) != k.Default.After || rest != k.Default.Priority.String() {
			t.Errorf("%s has %+v, and %q is listed", k.ID, k.Default, figures.Default("self."+k.ID).Value)
		}
	}
}
