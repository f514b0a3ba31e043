package record

import (
	"weald/ingest/calib/curve"
	"weald/ingest/calib/figures"
	calibration "weald/ingest/calib/record"

	"flag"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/attempt"
	"weald/rules/compression"
)

var add = flag.Bool("add", false, "write golden files that do not exist; one that exists is never changed")

type golden struct {
	form  string
	thing interface{ Append([]byte) ([]byte, error) }
	back  func([]byte) (any, error)
	// same says that the bytes depend on nothing but this package. Where a
	// compressor is in between, a later one may find other bytes.
	same bool
}

func goldens() map[string]golden {
	base := sample.At(time.Date(2026, 3, 1, 21, 0, 0, 0, time.UTC))
	block := func(b []byte) (any, error) { return DecodeBlock(b) }
	entry := func(b []byte) (any, error) { e, err := DecodeEntry(b); return &e, err }
	counts := &Block{Source: "hub/mat4", Number: 17, Config: 3}
	decimals := &Block{Source: "logger/leg", Number: 1, Config: 1}
	floats := &Block{Source: "logger/foot", Number: 2, Config: 1}
	for i := range 10 {
		step := sample.Instant(i) * 1e8
		s := Scan{Ord: 1000 + 7*uint64(i), At: base + step + sample.Instant(i%3), Arrived: base + step + 4e6, Seq: math.MaxUint32 - 4 + uint32(i), Rail: 4095}
		for c := range 12 {
			s.Raw = append(s.Raw, float64(200*c+i*(c%4)))
		}
		if i == 6 {
			s.Raw[3], s.Damaged, s.Stored = math.NaN(), true, true
		}
		counts.Scans = append(counts.Scans, s)
		s.Raw, s.Rail = []float64{41.2 + float64(i)/10, -3.05, math.NaN()}, math.NaN()
		decimals.Scans = append(decimals.Scans, s)
		s.Raw, s.Rail = []float64{math.Pi * float64(i), math.Inf(1)}, float64(i)
		floats.Scans = append(floats.Scans, s)
	}
	counted := &Block{Source: "hub/mat4", Number: 18, Config: 3}
	for i, s := range counts.Scans {
		s.Counted, s.Millis, s.First = i != 6, math.MaxUint32-300+100*uint32(i)+uint32(i%2), s.Seq-uint32(i%3)
		counted.Scans = append(counted.Scans, s)
	}
	charged := &Block{Source: "hub/mat4", Number: 20, Config: 3}
	for i, s := range counted.Scans {
		s.Battery = sample.ChargeOf(21 - i/4)
		charged.Scans = append(charged.Scans, s)
	}
	following := *counted
	following.Number, following.After = 19, counted.Scans[0].Ord-300
	event := alert.Event{At: base, Key: alert.Key{Place: "bench-1", Rule: "ankle-too-tight", Subject: "ankle"},
		What: alert.Raised, Priority: alert.Medium, Signal: "ankle.pressure", Unit: "mmHg",
		Value: 62.5, U: math.NaN(), Limit: 60, Held: 30 * time.Second, Text: "ankle at 62.5 mmHg, above 60 for 30 s"}
	shelved := event
	shelved.What, shelved.Value, shelved.Limit, shelved.Text = alert.WasShelved, math.NaN(), math.NaN(), "shelved by K-07 for 1 h: bath"
	shelved.State, shelved.Chattering, shelved.Who, shelved.Why, shelved.Until = alert.Shelved, true, "K-07", "bath", base+36e11
	escalated := event
	escalated.What, escalated.State, escalated.Tier, escalated.Stands, escalated.Quiet = alert.Escalated, alert.Unacknowledged, 2, true, true
	again := NewConfig(5, "data: record\n")
	again.Undoes = 4
	full := Entry{Position: 4, At: base, Written: base + 1e6, Place: "bench-1", Author: "K-07"}
	with := func(ord uint64, b Body) *Entry { e := full; e.Ord, e.Body = ord, b; return &e }
	return map[string]golden{
		"block-counts":     {"block", counts, block, false},
		"block-decimals":   {"block", decimals, block, false},
		"block-floats":     {"block", floats, block, false},
		"v2/block-counted": {"block", counted, block, false},
		"v3/block-after":   {"block", &following, block, false},
		"v4/block-charged": {"block", charged, block, false},
		"ticks": {"ticks", &Ticks{Number: 5, Ticks: []Tick{{Ord: 8, At: base}, {Ord: 9, Place: "bed-4", At: base + 25e7}}},
			func(b []byte) (any, error) { return DecodeTicks(b) }, true},
		"entry-transition":           {"entry", with(0, Transition{event}), entry, true},
		"entry-action":               {"entry", with(77, Action{What: "shelve", Subject: "bench-1~ankle-too-tight~ankle", Reason: "dressing is changed", Until: base + 36e11}), entry, true},
		"entry-transition-shelved":   {"entry", with(0, Transition{shelved}), entry, true},
		"entry-transition-escalated": {"entry", with(0, Transition{escalated}), entry, true},
		"entry-action-acknowledge":   {"entry", with(79, Action{What: "acknowledge", Subject: "bench-1~ankle-too-tight~ankle"}), entry, true},
		"entry-action-proposed":      {"entry", with(0, Action{What: "proposed", Subject: "rule tight", Reason: "too many at night", Text: "{}"}), entry, true},
		"entry-mark":                 {"entry", with(0, Mark{"turned", "to the left side"}), entry, true},
		"entry-session":              {"entry", with(0, Session{"s-1", "begun", "K-07", 3, "second wrap"}), entry, true},
		"entry-config":               {"entry", with(78, NewConfig(3, "data: record\n")), entry, true},
		"entry-config-undoes":        {"entry", with(80, again), entry, true},
		"entry-fault":                {"entry", with(0, Fault{Subject: "bridge trolley", Over: true, Text: "the port is back"}), entry, true},
		"entry-fault-self":           {"entry", with(0, Fault{Subject: "self disk", Text: "only 1.2 GB are free", Priority: alert.Medium}), entry, true},
		"entry-notice-queued":        {"entry", with(0, Notice{Sender: "desk", What: "queued", Key: "bench-1~ankle-too-tight~ankle.3.desk", About: "call", Change: 3, Event: &escalated}), entry, true},
		"entry-notice-given-up":      {"entry", with(0, Notice{Sender: "desk", What: "given-up", Key: "test.desk.2026-03-01", Why: "10.0.0.5:443 refuses connections"}), entry, true},
		"entry-notice-seen":          {"entry", with(0, Notice{What: "seen", Through: 9, From: 3}), entry, true},
		"entry-calibration":          {"entry", with(80, Calibration{calibrated()}), entry, false},
		"entry-calibration-limits":   {"entry", with(80, Calibration{limited()}), entry, false},
		"entry-zeroing":              {"entry", with(82, Zeroing{calibration.Zeroing{Bridge: "trolley", Source: "leg", At: base.Time().UTC(), By: "E-01", Channels: []int{0, 3}, Shown: []float64{1.25, -0.5}}}), entry, true},
		"entry-zeroing-undone":       {"entry", with(83, Zeroing{calibration.Zeroing{Bridge: "trolley", Source: "leg", At: base.Time().UTC(), By: "E-01", Channels: []int{3}, Undo: true}}), entry, true},
		"entry-refused":              {"entry", with(0, Refused{refused()}), entry, true},
		"entry-refused-rejected":     {"entry", with(0, Refused{*calibration.Reject(rejected())}), entry, false},
		"entry-check":                {"entry", with(0, Check{calibration.Spot{Record: "00112233445566778899aabbccddeeff", At: base.Time().UTC(), By: "E-01", Reference: 40, Raw: 412, MMHg: 41.5, Error: 1.5, Allowed: 3.2, Holds: true, Text: "holds"}}), entry, true},
		"entry-attempt-begun":        {"entry", with(0, Attempt{ID: "a-1", What: "begun", Code: "K-07", Lesson: "L-3", Config: 3, Plan: planned(), Notes: "second try"}), entry, true},
		"entry-attempt-read": {"entry", with(0, Attempt{ID: "a-1", What: "read", Code: "K-07", Lesson: "L-3", Config: 3, Read: &attempt.Reading{Step: attempt.Lying, At: base,
			Values: []attempt.Value{{MMHg: 41.5, U: 1.8, Shared: 0.5}, {MMHg: math.NaN(), U: math.NaN(), Shared: math.NaN()}}}}), entry, true},
		"entry-audit":       {"entry", linked(4, false), entry, true},
		"entry-audit-taken": {"entry", linked(4, true), entry, true},
		"entry-state":       {"entry", with(81, State{[]byte("state of the rules at a place")}), entry, false},
		"document": {"document", &Document{"calibration/hub/mat4", 2, base, []byte(`{"slope":0.5}`)},
			func(b []byte) (any, error) { d, err := DecodeDocument(b); return &d, err }, true},
		"document-gone": {"document", &Document{"session/1", 3, base, nil},
			func(b []byte) (any, error) { d, err := DecodeDocument(b); return &d, err }, true},
		"snapshot": {"snapshot", &Snapshot{1070, base, 3, []byte("state of the engine")},
			func(b []byte) (any, error) { s, err := DecodeSnapshot(b); return &s, err }, false},
		"stretch": {"stretch", &Stretch{"bench-1", "ankle.pressure", Minute, 88, []Point{{base, 1, 2, 3}, {base + 6e10, 1.5, 2, 9}, {base + 18e10, 0, 0, 0}}},
			func(b []byte) (any, error) { return DecodeStretch(b) }, false},
		"retired": {"retired", retiredThing{Retired{"hub/mat4", 1, 900, 54321}},
			func(b []byte) (any, error) { r, err := DecodeRetired(b); return retiredThing{r}, err }, true},
		"progress": {"progress", progressThing{Progress{Position: 9, Ord: 70, File: "readings-2026-03-01.db", State: 1, Blocks: 40, FirstOrd: 1, LastOrd: 900,
			Widest: 33, FirstAt: base, LastAt: base + 4e9, Sources: []SourceProgress{{"hub/mat4", 20, 890}, {"", 20, 900}}}},
			func(b []byte) (any, error) { p, err := DecodeProgress(b); return progressThing{p}, err }, true},
	}
}

// progressThing is to Progress what retiredThing is to Retired.
type progressThing struct{ Progress }

func (p progressThing) Append(dst []byte) ([]byte, error) { return p.Progress.Append(dst), nil }

// retiredThing gives a note of a deletion the signature of all others.
type retiredThing struct{ Retired }

func (r retiredThing) Append(dst []byte) ([]byte, error) { return r.Retired.Append(dst), nil }

// Whatever earlier programs wrote is read as what it was.
func TestGolden(t *testing.T) {
	for name, g := range goldens() {
		if !strings.Contains(name, "/") {
			name = "v1/" + name
		}
		path := filepath.Join("testdata", name+".bin")
		now, err := g.thing.Append(nil)
		if err != nil {
			t.Fatal(err)
		}
		then, err := os.ReadFile(path)
		if os.IsNotExist(err) && *add {
			if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
				t.Fatal(err)
			}
			then, err = now, os.WriteFile(path, now, 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
		got, err := g.back(then)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if diff := cmp.Diff(g.thing, got, nan); diff != "" {
			t.Errorf("%s is read as something else:\n%s", name, diff)
		}
		if g.same && !reflect.DeepEqual(now, then) {
			t.Errorf("%s is written differently now, in the same version:\n%q\n%q", name, then, now)
		}
	}
}

// No form and no kind of entry is without a golden file.
func TestGoldenOfEveryKind(t *testing.T) {
	missing := map[string]bool{}
	for _, f := range []Form{FormBlock, FormTicks, FormEntry, FormDocument, FormSnapshot, FormStretch, FormRetired, FormProgress} {
		missing["form "+string(rune(f))] = true
	}
	for _, k := range Kinds() {
		missing["kind "+string(k)] = true
	}
	for name, g := range goldens() {
		b, err := g.thing.Append(nil)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		delete(missing, "form "+string(rune(b[0])))
		if e, ok := g.thing.(*Entry); ok {
			delete(missing, "kind "+string(e.Body.Kind()))
		}
	}
	if len(missing) > 0 {
		t.Errorf("without a golden file: %v", missing)
	}
}

// linked is a link of a chain at a position; taken is one of which an erasure has
// taken away whom it was about.
func linked(p Position, taken bool) *Entry {
	base := sample.At(time.Date(2026, 3, 1, 21, 0, 0, 0, time.UTC))
	salt := []byte("sixteen bytes....")[:SaltSize]
	e := &Entry{Position: p, At: base, Written: base + 1e6, Place: "bench-1", Body: Audit{What: "acknowledge", Subject: "bench-1~ankle-too-tight~ankle",
		Who: sealText(salt, "N-4"), Person: sealText(salt, "K-07"), Text: sealText(salt, "bath"),
		Covers: []Cover{{Kind: KindAction, Salt: salt}}, Kinds: []Kind{KindMark}, Through: 2}}
	if _, err := e.Chain(Link{Number: 16, Hash: SumOf([]byte("before"))}, []Sum{SumOf([]byte("an action"))}); err != nil {
		panic(err)
	}
	if taken {
		a := e.Body.(Audit)
		a.Person.Take()
		e.Body = a
	}
	return e
}

// planned is what was aimed for in a try at a wrap.
func planned() *attempt.Plan {
	return &attempt.Plan{Scheme: "ral", Class: "IV", Least: 0.5, Most: 0.7, Wrapping: compression.Wrapping{Newtons: 4.9, Layers: 2, WidthCM: 10},
		Sites: []attempt.Site{{ID: "ankle", HeightCM: 12, GirthCM: 23.5, Aim: attempt.Band{Low: 49, High: math.Inf(1)}}, {ID: "calf", Aim: attempt.Open}}}
}

// limited is one that says what it was judged by.
func limited() calibration.Record {
	r := calibrated()
	r.Limits = &calibration.Limits{Warn: 5, Reject: 15}
	r.Figures.Scatter = &figures.Figure{MMHg: 1.2, Percent: 1.2}
	return r
}

// rejected is one that does not come into force.
func rejected() *calibration.Record {
	r := limited()
	r.Verdict = calibration.Rejected
	return &r
}

// refused is what is kept of readings that were no calibration.
func refused() calibration.Refused {
	return calibration.Refused{
		Version: calibration.RefusedVersion, Bridge: "trolley", Source: "leg", Channel: 1, At: time.Date(2026, 3, 1, 20, 0, 0, 0, time.UTC), By: "K-07",
		Reference: calibration.Instrument{Name: "gauge 3", U: 0.5}, Rows: []figures.Row{{Cycle: 1, Direction: figures.Up, Reference: 50, Raw: 77}},
		Reasons: []string{"the channel does not respond: exchange it"}, Limits: &calibration.Limits{Warn: 5, Reject: 15},
	}
}

// calibrated is a calibration record with a little of everything.
func calibrated() calibration.Record {
	made := time.Date(2026, 3, 1, 20, 0, 0, 0, time.UTC)
	up, err := curve.Through([]curve.Knot{{Raw: 100, MMHg: 0}, {Raw: 900, MMHg: 25}, {Raw: 2600, MMHg: 100}})
	if err != nil {
		panic(err)
	}
	down, err := curve.New(curve.Quadratic, -2, 0.02, 5e-6)
	if err != nil {
		panic(err)
	}
	warm := 31.5
	return calibration.Record{
		Version: calibration.Version, Bridge: "trolley", Source: "leg", Channel: 2, At: made, By: "K-07",
		Reference: calibration.Instrument{Name: "gauge 3", U: 0.5}, Temperature: &warm, Method: "cuff over a tube, 30 s a step",
		Rows:       []figures.Row{{Cycle: 1, Reference: 50, Raw: 1600}},
		Candidates: []calibration.Candidate{{Model: curve.Monotone, Branches: true, Chosen: true}},
		Calibration: curve.Calibration{
			Version: curve.Version, Loading: up, Unloading: &down, Width: 1.5,
			Raw: curve.Range{Low: 100, High: 2600}, MMHg: curve.Range{Low: 0, High: 100},
			U: curve.Uncertainty{At: []float64{0, 100}, Fit: []float64{0.4, 0.6}, Hysteresis: []float64{0.5, 1},
				Repeatability: []float64{0.3, 0.5}, DriftPerDay: 0.02, Reference: 0.5},
			Creep: &curve.Creep{PerDecade: 0.03, Dwell: 30, U: 0.005},
		},
		Verdict: calibration.Warned, Remarks: []string{"repeatability is 6 %"}, ValidUntil: made.AddDate(1, 0, 0),
	}
}
