package config

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	generate "github.com/invopop/jsonschema"
	validate "github.com/santhosh-tekuri/jsonschema/v6"
	"go.yaml.in/yaml/v4"

	"weald/config/internal/shape"
)

var update = flag.Bool("update", false, "write schema.json and the expected problems anew")

// generated makes the schema of the types of package shape: descriptions are
// their comments, with where the default is from, limits their tags.
func generated(t *testing.T) []byte {
	t.Helper()
	r := &generate.Reflector{
		Anonymous:                  true,
		FieldNameTag:               "yaml",
		RequiredFromJSONSchemaTags: true,
		Mapper:                     texts,
	}
	if err := r.AddGoComments("weald/config", "internal/shape"); err != nil {
		t.Fatal(err)
	}
	for key, text := range r.CommentMap {
		r.CommentMap[key] = strings.Join(strings.Fields(text), " ")
	}
	for _, set := range settings() {
		r.CommentMap[set.comment()] += set.from()
	}
	s := r.Reflect(&shape.File{})
	s.Title = "Configuration of weald"

	// A calibration may be written as a list or as its only member.
	p, _ := s.Definitions["Source"].Properties.Get("calibration")
	list := strings.TrimPrefix(p.Ref, "#/$defs/")
	one := s.Definitions[list].Items
	p.AnyOf = []*generate.Schema{one, {Type: "array", Items: one, MinItems: new(uint64(1))}}
	p.Ref = ""
	delete(s.Definitions, list)

	b, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	return append(b, '\n')
}

// texts maps the types that read themselves from a scalar. YAML sees a number
// in some of what they accept.
func texts(t reflect.Type) *generate.Schema {
	text := func(pattern string) *generate.Schema { return &generate.Schema{Type: "string", Pattern: pattern} }
	orNumber := func(s *generate.Schema) *generate.Schema {
		return &generate.Schema{AnyOf: []*generate.Schema{s, {Type: "integer", Minimum: "0"}}}
	}
	switch t {
	case reflect.TypeFor[shape.Duration]():
		return &generate.Schema{AnyOf: []*generate.Schema{text(shape.DurationPattern), {Const: 0}}}
	case reflect.TypeFor[shape.ID]():
		return orNumber(text(shape.IDPattern))
	case reflect.TypeFor[shape.SourceRef]():
		return text(shape.SourcePattern)
	case reflect.TypeFor[shape.ChannelRef]():
		return text(shape.ChannelPattern)
	case reflect.TypeFor[shape.Hex]():
		return orNumber(text(shape.HexPattern))
	case reflect.TypeFor[shape.Range]():
		return orNumber(text(shape.RangePattern))
	case reflect.TypeFor[shape.MQTTVersion]():
		return &generate.Schema{Enum: []any{5, "5", "5.0", "3.1.1"}}
	case reflect.TypeFor[shape.Clock]():
		return text(shape.ClockPattern)
	case reflect.TypeFor[shape.Daily]():
		return text(shape.DailyPattern)
	case reflect.TypeFor[shape.Day]():
		return text(shape.DayPattern)
	case reflect.TypeFor[shape.Tier]():
		return &generate.Schema{AnyOf: []*generate.Schema{text(shape.TierPattern), {Type: "integer", Minimum: "1", Maximum: "3"}}}
	case reflect.TypeFor[shape.Role]():
		return &generate.Schema{Enum: []any{"ingest", "judge", "serve"}}
	case reflect.TypeFor[shape.Host]():
		return text(shape.HostPattern)
	case reflect.TypeFor[shape.Priority]():
		return text(shape.PriorityPattern)
	case reflect.TypeFor[shape.Text]():
		return &generate.Schema{AnyOf: []*generate.Schema{{Type: "string"}, {Type: "number"}, {Type: "boolean"}}}
	}
	return nil
}

func TestSchemaIsCurrent(t *testing.T) {
	want := generated(t)
	if *update {
		if err := os.WriteFile("schema.json", want, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if !bytes.Equal(Schema(), want) {
		t.Error("schema.json is stale: run go generate ./config")
	}
}

// compiled returns the schema, ready to validate.
func compiled(t *testing.T) *validate.Schema {
	t.Helper()
	doc, err := validate.UnmarshalJSON(bytes.NewReader(Schema()))
	if err != nil {
		t.Fatal(err)
	}
	c := validate.NewCompiler()
	if err := c.AddResource("weald.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("weald.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// asJSON reads YAML as an editor's validator would.
func asJSON(t *testing.T, text []byte) any {
	t.Helper()
	var v any
	if err := yaml.Load(text, &v); err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	out, err := validate.UnmarshalJSON(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestSchemaAcceptsWhatParses(t *testing.T) {
	s := compiled(t)
	good, err := filepath.Glob("testdata/*.yaml")
	if err != nil || len(good) == 0 {
		t.Fatalf("no examples: %v", err)
	}
	for _, name := range good {
		if err := s.Validate(asJSON(t, readFile(t, name))); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestSchemaRefuses(t *testing.T) {
	s := compiled(t)
	ward := string(readFile(t, "testdata/ward.yaml"))
	for _, tt := range []struct{ name, old, new string }{
		{"unknown key", "baud:", "bauds:"},
		{"wrong type", "baud: 115200", "baud: fast"},
		{"missing key", "number: 4, id: mat4", "number: 4"},
		{"not one of them", "kind: wrap", "kind: leg"},
		{"out of range", "rate: 1,", "rate: 0,"},
		{"name", "id: bench-1", "id: Bench 1"},
		{"duration without a unit", "on_delay: 30s", "on_delay: 30"},
		{"reference", "trolley/leg/0", "trolley/leg"},
		{"no such version", "version: 3.1.1", "version: 3"},
		{"no such reference", "is: absolute", "is: relative"},
		{"too few clients", "max_clients: 64", "max_clients: 0"},
		{"too few numbers", "[35, 45]", "[35]"},
	} {
		text := strings.Replace(ward, tt.old, tt.new, 1)
		if text == ward {
			t.Fatalf("%s: the example has no %q", tt.name, tt.old)
		}
		if s.Validate(asJSON(t, []byte(text))) == nil {
			t.Errorf("%s: the schema accepts %q in place of %q", tt.name, tt.new, tt.old)
		}
		if _, problems := Parse("ward.yaml", []byte(text)); len(problems) == 0 {
			t.Errorf("%s: Parse accepts %q in place of %q", tt.name, tt.new, tt.old)
		}
	}
}

// A definition is what the schema says of one part of a file.
type definition struct {
	Properties map[string]struct {
		Description string
		Default     any
	}
}

// defs are the definitions of the schema by their names.
func defs(t *testing.T) map[string]definition {
	t.Helper()
	var file struct {
		Defs map[string]definition `json:"$defs"`
	}
	if err := json.Unmarshal(Schema(), &file); err != nil {
		t.Fatal(err)
	}
	return file.Defs
}

// Every key has a description, and every default that a tag states is named in
// it, for that is where people look.
func TestEveryKeyIsDescribed(t *testing.T) {
	all := defs(t)
	if len(all) < 10 {
		t.Fatalf("the schema defines only %d types", len(all))
	}
	for def, d := range all {
		for key, p := range d.Properties {
			if p.Description == "" {
				t.Errorf("%s.%s has no description", def, key)
			}
			if p.Default != nil && !strings.Contains(p.Description, "Default") {
				t.Errorf("%s.%s: the description does not name the default, %v", def, key, p.Default)
			}
		}
	}
}

func readFile(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return b
}
