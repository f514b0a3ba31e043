package webui

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"weald/webui/api"
)

// A contract is the served OpenAPI document, as something to hold answers
// against.
type contract struct {
	t        *testing.T
	document map[string]any
	compiler *jsonschema.Compiler
}

func newContract(t *testing.T, s *stack) *contract {
	rec := s.get("/api/v1/openapi.json")
	document, err := jsonschema.UnmarshalJSON(rec.Body)
	if err != nil {
		t.Fatalf("OpenAPI document: %v", err)
	}
	c := &contract{t: t, document: document.(map[string]any), compiler: jsonschema.NewCompiler()}
	c.compiler.AssertFormat()
	if err := c.compiler.AddResource("openapi.json", document); err != nil {
		t.Fatal(err)
	}
	return c
}

// check holds an answer against what the document says about its path, status
// and content type.
func (c *contract) check(path string, rec *httptest.ResponseRecorder) {
	c.t.Helper()
	c.checkOf("get", path, rec)
}

// checkOf is check for any method, in lower case.
func (c *contract) checkOf(method, path string, rec *httptest.ResponseRecorder) {
	c.t.Helper()
	status, kind := fmt.Sprint(rec.Code), rec.Header().Get("Content-Type")
	op := c.document["paths"].(map[string]any)[path].(map[string]any)[method].(map[string]any)
	response, ok := op["responses"].(map[string]any)[status].(map[string]any)
	if !ok {
		c.t.Errorf("%s: status %s is not in the document", path, status)
		return
	}
	if _, ok = response["content"].(map[string]any)[kind]; !ok {
		c.t.Errorf("%s: status %s with %s is not in the document", path, status, kind)
		return
	}
	escape := func(s string) string {
		return url.PathEscape(strings.NewReplacer("~", "~0", "/", "~1").Replace(s))
	}
	schema, err := c.compiler.Compile(fmt.Sprintf("openapi.json#/paths/%s/%s/responses/%s/content/%s/schema", escape(path), method, status, escape(kind)))
	if err != nil {
		c.t.Errorf("%s: schema: %v", path, err)
		return
	}
	body, err := jsonschema.UnmarshalJSON(bytes.NewReader(rec.Body.Bytes()))
	if err != nil {
		c.t.Errorf("%s: %v", path, err)
		return
	}
	if err := schema.Validate(body); err != nil {
		c.t.Errorf("%s: %v\n%s", path, err, rec.Body)
	}
}

func TestAnswersAreAsDocumented(t *testing.T) {
	s := newStack(t, built)
	s.bridges = []api.Bridge{trolley(), {ID: "hub", State: "waiting", Trouble: "there is no port /dev/ttyACM1", Bad: map[string]uint64{}, Sources: []api.Source{}, UnknownSources: []api.UnknownSource{}}}
	c := newContract(t, s)
	if v := c.document["openapi"]; v != "3.1.0" {
		t.Errorf("the document is OpenAPI %v", v)
	}
	ago := url.QueryEscape(time.Now().Add(-time.Minute).Format(time.RFC3339Nano))
	requests := []struct {
		path, ask string
		status    int
	}{
		{"/api/v1/places", "", 200},
		{"/api/v1/places/{place}", "/api/v1/places/bench-1", 200},
		{"/api/v1/places/{place}", "/api/v1/places/bed-4", 200},
		{"/api/v1/places/{place}", "/api/v1/places/nowhere", 404},
		{"/api/v1/places/{place}/signals", "/api/v1/places/bench-1/signals", 200},
		{"/api/v1/places/{place}/signals", "/api/v1/places/bench-1/signals?name=ankle.pressure&name=calf.pressure&points=60&from=" + ago, 200},
		{"/api/v1/places/{place}/signals", "/api/v1/places/bench-1/signals?name=ankle.pressure,calf.pressure", 200},
		{"/api/v1/places/{place}/signals", "/api/v1/places/bench-1/signals?name=soul.pressure", 404},
		{"/api/v1/places/{place}/signals", "/api/v1/places/bench-1/signals?points=0", 422},
		{"/api/v1/places/{place}/signals", "/api/v1/places/bench-1/signals?from=yesterday", 422},
		{"/api/v1/places/{place}/signals", "/api/v1/places/bench-1/signals?from=2040-01-01T00:00:00Z", 422},
		{"/api/v1/places/{place}/signals", "/api/v1/places/bench-1/signals?from=1970-01-01T00:00:00Z", 422},
		{"/api/v1/places/{place}/signals", "/api/v1/places/bench-1/signals?from=1700-01-01T00:00:00Z&to=2200-01-01T00:00:00Z", 422},
		{"/api/v1/places/{place}/signals", "/api/v1/places/bench-1/signals?from=0001-01-02T00:00:00Z", 422},
		{"/api/v1/places/{place}/signals", "/api/v1/places/bench-1/signals?to=9999-01-01T00:00:00Z", 422},
		{"/api/v1/places/{place}/map", "/api/v1/places/bed-4/map", 200},
		{"/api/v1/places/{place}/map", "/api/v1/places/bed-4/map?at=" + ago, 404},
		{"/api/v1/places/{place}/map", "/api/v1/places/bed-4/map?at=2999-01-01T00:00:00Z", 422},
		{"/api/v1/places/{place}/map", "/api/v1/places/bed-4/map?at=2200-01-01T00:00:00Z", 404},
		{"/api/v1/places/{place}/map", "/api/v1/places/bench-1/map", 404},
		{"/api/v1/places/{place}/regions", "/api/v1/places/bench-1/regions", 404},
		{"/api/v1/places/{place}/regions", "/api/v1/places/nowhere/regions", 404},
		{"/api/v1/places/{place}/regions", "/api/v1/places/bed-4/regions?at=2200-01-01T00:00:00Z", 404},
		{"/api/v1/alerts", "", 200},
		{"/api/v1/alerts", "/api/v1/alerts?state=normal", 200},
		{"/api/v1/alerts", "/api/v1/alerts?state=angry", 422},
		{"/api/v1/bridges", "", 200},
		{"/api/v1/bridges/{bridge}/sources/{source}/raw", "/api/v1/bridges/trolley/sources/leg/raw", 200},
		{"/api/v1/bridges/{bridge}/sources/{source}/raw", "/api/v1/bridges/trolley/sources/arm/raw", 404},
		{"/api/v1/defaults", "", 200},
		{"/api/v1/figures", "", 200},
		{"/healthz", "", 200},
		{"/readyz", "", 503},
	}
	for _, fed := range []bool{false, true} {
		if fed {
			s.feed()
		}
		for _, r := range requests {
			if r.ask == "" {
				r.ask = r.path
			}
			rec := s.get(r.ask)
			if rec.Code != r.status {
				t.Errorf("%s: %d, want %d: %s", r.ask, rec.Code, r.status, rec.Body)
			}
			c.check(r.path, rec)
		}
	}
}

// decoded asks for JSON.
func decoded[T any](s *stack, path string) (v T) {
	s.t.Helper()
	rec := s.get(path)
	if rec.Code != 200 {
		s.t.Fatalf("%s: %d %s", path, rec.Code, rec.Body)
	}
	if err := json.Unmarshal(rec.Body.Bytes(), &v); err != nil {
		s.t.Fatalf("%s: %v", path, err)
	}
	return v
}

type object = map[string]any

func TestUnknownIsNullEverywhere(t *testing.T) {
	s := newStack(t, built)
	s.feed()
	signals := decoded[object](s, "/api/v1/places/bench-1")["signals"].(object)
	if ankle := signals["ankle.pressure"].(object); ankle["value"] != 70.0 || ankle["u"] != 1.8 || ankle["unit"] != "mmHg" || ankle["at"] == nil {
		t.Errorf("ankle %v", ankle)
	}
	calf := signals["calf.pressure"].(object)
	if v, there := calf["value"]; !there || v != nil || calf["u"] != nil {
		t.Errorf("calf %v, want value null", calf)
	}
	other := decoded[object](s, "/api/v1/places/bench-2")
	if v, there := other["signals"].(object)["ankle.pressure"].(object)["value"]; !there || v != nil || other["state"] != "uncalibrated" || other["text"] != "not calibrated" {
		t.Errorf("a place that is not calibrated: %v", other)
	}
	cells := decoded[object](s, "/api/v1/places/bed-4/map")["cells"].([]any)
	if len(cells) != 6 || cells[0] != 10.0 || cells[3] != 40.5 || cells[5] != nil {
		t.Errorf("cells %v", cells)
	}
	series := decoded[object](s, "/api/v1/places/bench-1/signals?name=ankle.pressure&points=10")["series"].([]any)[0].(object)
	mean := series["mean"].([]any)
	if len(mean) != len(series["t"].([]any)) || mean[0] != nil || mean[len(mean)-1] != 70.0 {
		t.Errorf("means %v of an hour with one reading at its end", mean)
	}
}

func TestAlertsByState(t *testing.T) {
	s := newStack(t, built)
	s.feed()
	count := func(query string) int { return len(decoded[object](s, "/api/v1/alerts"+query)["alerts"].([]any)) }
	if all, raised, cleared := count(""), count("?state=unacknowledged"), count("?state=normal"); all != 1 || raised != 1 || cleared != 0 {
		t.Errorf("%d alerts, %d raised, %d cleared; want 1, 1, 0", all, raised, cleared)
	}
	a := decoded[object](s, "/api/v1/alerts")["alerts"].([]any)[0].(object)
	expected := object{
		"id": "bench-1~tight~ankle", "place": "bench-1", "rule": "tight", "subject": "ankle", "priority": "medium",
		"state": "unacknowledged", "cleared_at": nil, "value": 70.0, "u": 1.8, "limit": 60.0, "unit": "mmHg",
		"signal": "ankle.pressure", "signal_known": true,
	}
	for key, want := range expected {
		if got, there := a[key]; !there || got != want {
			t.Errorf("%s is %v, want %v", key, got, want)
		}
	}
}

func TestReadyOrTheReasonsWhyNot(t *testing.T) {
	s := newStack(t, built)
	s.troubles = []string{"the record: readings are not kept"}
	late := trolley()
	late.Sources[0].LastScanAt = nil
	s.bridges = []api.Bridge{late,
		{ID: "hub", State: "waiting", Trouble: "there is no port /dev/ttyACM1"},
		{ID: "logger", State: "connecting"}}
	rec := s.get("/readyz")
	var body struct {
		Ready   bool
		Reasons []string
	}
	if err := json.Unmarshal(rec.Body.Bytes(), &body); err != nil {
		t.Fatal(err)
	}
	want := []string{
		"source trolley/leg has delivered nothing yet",
		"bridge hub: there is no port /dev/ttyACM1",
		"bridge logger is not open yet: connecting",
		"the record: readings are not kept",
		"source new/leg is not calibrated: its places show no pressure",
	}
	if rec.Code != 503 || body.Ready || strings.Join(body.Reasons, "\n") != strings.Join(want, "\n") {
		t.Errorf("%d %+v, want %q", rec.Code, body, want)
	}
}
