package view

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
)

var noon = sample.At(time.Date(2025, 11, 24, 12, 0, 0, 0, time.UTC))

func plan() *rules.Plan {
	above := 60.0
	cells := make([]int, 0, 8)
	for row := 1; row <= 2; row++ {
		for column := range 4 {
			cells = append(cells, row*4+column)
		}
	}
	return &rules.Plan{
		Sources: []rules.Source{
			{ID: "trolley/leg", Channels: 2, Calibrated: true},
			{ID: "hub/mat1", Channels: 16, Calibrated: true},
			{ID: "new/leg", Channels: 2},
		},
		Places: []rules.Place{
			{ID: "bench-1", Kind: rules.Wrap, Sites: []rules.Site{
				{ID: "ankle", Channels: []rules.Channel{{Source: 0, Index: 0}}},
				{ID: "calf", Channels: []rules.Channel{{Source: 0, Index: 1}}},
			}},
			{ID: "bed-1", Kind: rules.Bed, Mat: &rules.Mat{Source: 1, Rows: 4, Columns: 4, Regions: []rules.Region{{ID: "left_hip", Cells: cells}}}},
			{ID: "bench-2", Kind: rules.Wrap, Sites: []rules.Site{
				{ID: "ankle", Channels: []rules.Channel{{Source: 2, Index: 0}}},
				{ID: "calf", Channels: []rules.Channel{{Source: 2, Index: 1}}},
			}},
			{ID: "arm-1", Kind: rules.Wrap, Sites: []rules.Site{{ID: "arm", Channels: []rules.Channel{{Source: 0, Index: 0}}}}},
		},
		Rules: []rules.Rule{
			{ID: "tight", Limit: &rules.Limit{Watch: "ankle.pressure", Above: &above}},
			{ID: "loaded", Limit: &rules.Limit{Watch: "mat.pressure", Above: &above}},
		},
	}
}

// signal is one with a value that was measured a second before noon.
func signal(name string, value, u float64) rules.Signal {
	return rules.Signal{Name: name, Unit: "mmHg", Value: value, U: u,
		At: noon.Add(-time.Second), Until: noon.Add(2 * time.Second), Known: 1, Members: 1}
}

func silent(name string) rules.Signal {
	return rules.Signal{Name: name, Unit: "mmHg", Value: 40, U: 1, At: noon.Add(-time.Minute), Until: noon.Add(-57 * time.Second), Members: 1}
}

func never(name string) rules.Signal {
	return rules.Signal{Name: name, Unit: "mmHg", Value: math.NaN(), U: math.NaN(), At: sample.Past, Until: sample.Past, Members: 1}
}

// beyond is an extrapolated signal of four members, of which one was dropped.
func beyond(s rules.Signal) rules.Signal {
	s.Extrapolated, s.Expired, s.Dropped, s.Known, s.Members = true, true, 1, 3, 4
	return s
}

func TestSentences(t *testing.T) {
	nan := math.NaN()
	ankle, hip := "ankle.pressure", "left_hip.pressure"
	tests := []struct {
		name        string
		place       int
		now         Now
		state, text string
	}{
		{"numbers with their doubt", 0,
			Now{Signals: []rules.Signal{signal(ankle, 41.2, 1.8), signal("calf.pressure", 22.4, 0.95)}},
			StateQuiet, "ankle 41 ± 2 mmHg, calf 22 ± 1 mmHg"},
		{"small doubt and none", 0,
			Now{Signals: []rules.Signal{signal(ankle, 41.26, 0.3), signal("calf.pressure", -0.2, nan)}},
			StateQuiet, "ankle 41.3 ± 0.3 mmHg, calf 0 mmHg"},
		{"a turn on its way, from the first minute", 1,
			Now{Signals: []rules.Signal{signal("mat.peak", 40, nan)}, Holds: []rules.Progress{{
				Key: alert.Key{Rule: "turn-due", Subject: "bed"}, Condition: sample.No, Share: 0.01, Says: "on the left side for 1 min, turn due in 1 h 59 min",
			}}},
			StateQuiet, "on the left side for 1 min, turn due in 1 h 59 min; highest 40 mmHg"},
		{"a turn and a hold that is far on its way", 1,
			Now{Signals: []rules.Signal{signal("mat.peak", 70, nan)}, Holds: []rules.Progress{
				{Key: alert.Key{Rule: "turn-due", Subject: "bed"}, Condition: sample.No, Share: 0.3, Says: "on the back for 36 min, turn due in 1 h 24 min"},
				{Key: alert.Key{Rule: "loaded", Subject: "left_hip"}, Signal: "left_hip.pressure", Unit: "mmHg", Condition: sample.Yes, Held: 36 * time.Minute, OnDelay: time.Hour},
			}},
			StateBuilding, "on the back for 36 min, turn due in 1 h 24 min; left hip: a cell above 60 mmHg for 36 min of 1 h; highest 70 mmHg"},
		{"one site silent", 0,
			Now{Signals: []rules.Signal{signal(ankle, 41, 2), silent("calf.pressure")},
				LastKnown: []sample.Instant{noon, noon.Add(-time.Minute)}},
			StateUnknown, "ankle 41 ± 2 mmHg, calf: no readings since 11:59:00"},
		{"all silent since yesterday", 0,
			Now{Signals: []rules.Signal{silent(ankle), silent("calf.pressure")},
				LastKnown: []sample.Instant{noon.Add(-24 * time.Hour), noon.Add(-24 * time.Hour)}},
			StateUnknown, "no readings since 23 November 12:00:00"},
		{"at a rail", 0,
			Now{Signals: []rules.Signal{signal(ankle, nan, nan), signal("calf.pressure", 22, 1)},
				LastKnown: []sample.Instant{noon.Add(-time.Minute), noon}},
			StateUnknown, "ankle: no valid readings since 11:59:00, calf 22 ± 1 mmHg"},
		{"before the first", 0,
			Now{Signals: []rules.Signal{never(ankle), never("calf.pressure")}, LastKnown: []sample.Instant{sample.Past, sample.Past}},
			StateUnknown, "no readings yet"},
		{"not calibrated", 2,
			Now{Signals: []rules.Signal{never(ankle), never("calf.pressure")}},
			StateUncalibrated, "not calibrated"},
		{"a hold under way", 0,
			Now{Signals: []rules.Signal{signal(ankle, 63, 2), signal("calf.pressure", 22, 1)},
				Holds: []rules.Progress{hold("tight", "ankle", ankle, sample.Yes, 12*time.Second, 30*time.Second)}},
			StateQuiet, "ankle above 60 mmHg for 12 s of 30 s; ankle 63 ± 2 mmHg, calf 22 ± 1 mmHg"},
		{"a cell's hold past half", 1,
			Now{Signals: []rules.Signal{signal("mat.peak", 71.4, nan), signal("left_hip.peak", 71.4, nan)},
				Holds: []rules.Progress{hold("loaded", "left_hip", hip, sample.Yes, 16*time.Minute+50*time.Second, 30*time.Minute)}},
			StateBuilding, "left hip: a cell above 60 mmHg for 16 min of 30 min; highest 71 mmHg at the left hip"},
		{"a hold that pauses", 1,
			Now{Signals: []rules.Signal{signal("mat.peak", 0.2, nan), signal("left_hip.peak", 0.2, nan)},
				Holds: []rules.Progress{hold("loaded", "left_hip", hip, sample.No, 20*time.Minute, 30*time.Minute)}},
			StateBuilding, "left hip: a cell above 60 mmHg for 20 min of 30 min, relieved for now; mat not loaded"},
		{"an alert", 0,
			Now{Signals: []rules.Signal{signal(ankle, 63, 2), signal("calf.pressure", 22, 1)},
				Alerts: []Alert{{ID: "a", Text: "ankle too tight"}, {ID: "b"}}},
			StateAlert, "ankle too tight (and 1 more alert); ankle 63 ± 2 mmHg, calf 22 ± 1 mmHg"},
		{"one that is over and nobody has acknowledged", 0,
			Now{Signals: []rules.Signal{signal(ankle, 41, 2), signal("calf.pressure", 22, 1)},
				Holds:  []rules.Progress{hold("tight", "ankle", ankle, sample.Yes, 20*time.Second, 30*time.Second)},
				Alerts: []Alert{{ID: "a", State: string(alert.Returned), Text: "ankle too tight"}, {ID: "b", State: string(alert.Shelved)}}},
			StateOver, "ankle too tight (over, and not acknowledged); ankle above 60 mmHg for 20 s of 30 s; ankle 41 ± 2 mmHg, calf 22 ± 1 mmHg; 1 alert shelved"},
		{"the same beside one that is open", 0,
			Now{Signals: []rules.Signal{signal(ankle, 63, 2), signal("calf.pressure", 22, 1)},
				Alerts: []Alert{{ID: "a", Text: "ankle too tight"}, {ID: "b", State: string(alert.Returned)}}},
			StateAlert, "ankle too tight; ankle 63 ± 2 mmHg, calf 22 ± 1 mmHg; 1 alert over, and not acknowledged"},
		{"the same where nothing is known now", 0,
			Now{Signals: []rules.Signal{silent(ankle), silent("calf.pressure")}, LastKnown: []sample.Instant{noon, noon},
				Alerts: []Alert{{ID: "a", State: string(alert.Returned), Text: "ankle too tight"}}},
			StateUnknown, "ankle too tight (over, and not acknowledged); no readings since 12:00:00"},
		{"an alert whose signal is lost", 0,
			Now{Signals: []rules.Signal{silent(ankle), signal("calf.pressure", 22, 1)},
				LastKnown: []sample.Instant{noon.Add(-time.Minute), noon},
				Alerts:    []Alert{{ID: "a", Subject: "ankle", Text: "ankle too tight" + lost}, {ID: "b"}}},
			StateAlert, "ankle too tight (and 1 more alert); ankle: no readings since 11:59:00, calf 22 ± 1 mmHg"},
		{"an alert on a mat that is lost", 1,
			Now{Signals: []rules.Signal{silent("mat.peak"), silent("left_hip.peak")},
				LastKnown: []sample.Instant{noon.Add(-time.Minute), noon.Add(-time.Minute)},
				Alerts:    []Alert{{ID: "a", Subject: "left_hip", Text: "left hip loaded" + lost}}},
			StateAlert, "left hip loaded; no readings since 11:59:00"},
		{"an alert on cells that are lost in a region that is not", 1,
			Now{Signals: []rules.Signal{signal("mat.peak", 71.4, nan), signal("left_hip.peak", 71.4, nan)},
				Alerts: []Alert{{ID: "a", Subject: "left_hip", Text: "left hip loaded" + lost}}},
			StateAlert, "left hip loaded; there is no current reading; highest 71 mmHg at the left hip"},
		{"a region of which nothing is known", 1,
			Now{Signals: []rules.Signal{signal("mat.peak", 71.4, nan), signal("left_hip.peak", nan, nan)},
				LastKnown: []sample.Instant{noon, noon.Add(-time.Minute)}},
			StateUnknown, "highest 71 mmHg, left hip: no valid readings since 11:59:00"},
		{"a part of the mat that no region has", 1,
			Now{Signals: []rules.Signal{signal("mat.peak", 71.4, nan), signal("left_hip.peak", 71.4, nan)},
				Holds: []rules.Progress{hold("loaded", rules.WholeMat, "mat.pressure", sample.Maybe, 0, time.Minute)}},
			StateUnknown, "highest 71 mmHg at the left hip, rest of the mat: no valid readings"},
		{"a mat of which nothing is known", 1,
			Now{Signals: []rules.Signal{silent("mat.peak"), silent("left_hip.peak")},
				LastKnown: []sample.Instant{noon.Add(-time.Minute), noon.Add(-time.Minute)}},
			StateUnknown, "no readings since 11:59:00"},
		{"a rule that has nothing to judge", 0,
			Now{Signals: []rules.Signal{signal(ankle, 41, 2), signal("calf.pressure", 22, 1)},
				Holds: []rules.Progress{hold("tight", "ankle", ankle, sample.Maybe, 0, time.Minute)}},
			StateUnknown, "ankle 41 ± 2 mmHg, calf 22 ± 1 mmHg"},
		{"time that stands still", 0,
			Now{Signals: []rules.Signal{signal(ankle, 41, 2), signal("calf.pressure", 22, 1)}, Stalled: true, Arriving: true,
				Holds: []rules.Progress{hold("tight", "ankle", ankle, sample.Yes, 20*time.Second, 30*time.Second)}},
			StateUnknown, "ankle above 60 mmHg for 20 s of 30 s, unknown for now; readings arrive, but none is newer than what was judged (clock of the bridge?)"},
		{"time that stands still because nothing comes", 0,
			Now{Signals: []rules.Signal{signal(ankle, 41, 2), signal("calf.pressure", 22, 1)}, Stalled: true,
				LastKnown: []sample.Instant{noon.Add(-time.Minute), noon.Add(-time.Minute)}},
			StateUnknown, "no readings since 11:59:00"},
		{"an extrapolated value, and sensors that disagree", 0,
			Now{Signals: []rules.Signal{beyond(signal(ankle, 92, 6)), signal("calf.pressure", 22, 1)}},
			StateQuiet, "ankle 92 ± 6 mmHg, extrapolated, past the date of its calibration, without 1 of 4 sensors, as they disagree, calf 22 ± 1 mmHg"},
		{"nothing is watched", 3,
			Now{Signals: []rules.Signal{signal("arm.pressure", 41, 2)}},
			StateQuiet, "nothing is watched here; arm 41 ± 2 mmHg"},
		{"a value beside its limit", 0,
			Now{Signals: []rules.Signal{signal(ankle, 60.04, nan), signal("calf.pressure", 60.04, nan)},
				Holds: []rules.Progress{hold("tight", "ankle", ankle, sample.Yes, 12*time.Second, 30*time.Second)}},
			StateQuiet, "ankle above 60 mmHg for 12 s of 30 s; ankle 60.04 mmHg, calf 60 mmHg"},
	}
	b := New(plan(), nil, time.UTC)
	for _, tt := range tests {
		tt.now.At = noon
		v := b.Place(tt.place, &tt.now)
		if v.State != tt.state || v.Text != tt.text {
			t.Errorf("%s:\n got %s, %q\nwant %s, %q", tt.name, v.State, v.Text, tt.state, tt.text)
		}
	}
}

func hold(rule, subject, signal string, cond sample.Truth, held, delay time.Duration) rules.Progress {
	return rules.Progress{Key: alert.Key{Rule: rule, Subject: subject}, Signal: signal, Unit: "mmHg",
		Priority: alert.Low, Condition: cond, Held: held, OnDelay: delay, Due: sample.Never, Since: sample.Past}
}

func TestUnknownIsNull(t *testing.T) {
	height := 12.0
	b := New(plan(), []Setting{{Sites: map[string]SiteSetting{"ankle": {HeightCM: &height, Target: &[2]float64{35, 45}}}}}, time.UTC)
	v := b.Place(0, &Now{At: noon, LastScan: sample.Past,
		Signals: []rules.Signal{silent("ankle.pressure"), never("calf.pressure")}})
	raw, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		`"calf.pressure":{"value":null,"u":null,"unit":"mmHg","at":null,"known":0,"members":1}`,
		`"ankle.pressure":{"value":null,"u":null,"unit":"mmHg","at":"2025-11-24T11:59:00Z","known":0,"members":1}`,
		`{"id":"ankle","height_cm":12,"circumference_cm":null,"target":[35,45],"calibrated":true}`,
		`"alerts":[]`, `"holds":[]`, `"at":null`,
	} {
		if !strings.Contains(string(raw), want) {
			t.Errorf("%s\nlacks %s", raw, want)
		}
	}
}

// What a stalled place would still show must not look known in its parts either.
func TestNothingOfAStalledPlaceIsKnown(t *testing.T) {
	b := New(plan(), nil, time.UTC)
	h := hold("tight", "ankle", "ankle.pressure", sample.Yes, 20*time.Second, 30*time.Second)
	h.Due = noon.Add(10 * time.Second)
	v := b.Place(0, &Now{At: noon, Stalled: true, Arriving: true,
		Signals: []rules.Signal{signal("ankle.pressure", 63, 2), signal("calf.pressure", 22, 1)},
		Holds:   []rules.Progress{h},
		Alerts:  []Alert{{ID: "a", State: string(alert.Unacknowledged), RaisedAt: Moment(noon), SignalKnown: true, Text: "calf too loose"}}})
	if s := v.Signals["ankle.pressure"]; s.Value != nil || s.U != nil || s.Known != 0 {
		t.Errorf("the ankle is %+v, want no value", s)
	}
	if h := v.Holds[0]; h.Condition != "unknown" || h.DueAt != nil || h.HeldS != 20 {
		t.Errorf("the hold is %+v, want 20 s of an unknown condition that is not due", h)
	}
	if a := v.Alerts[0]; a.SignalKnown || a.Text != "calf too loose; there is no current reading" {
		t.Errorf("the alert is %+v, want one whose signal is not known", a)
	}
	if v.State != StateAlert {
		t.Errorf("the state is %s: an alert that stands comes first", v.State)
	}
}

// The numbers of an alert and those of its place are the same ones.
func TestAlertAndPlaceWriteAValueAlike(t *testing.T) {
	above := 60.0
	p := &rules.Plan{
		Sources: []rules.Source{{ID: "trolley/leg", Channels: 1, StaleAfter: time.Minute, Calibrated: true, U: []float64{0.04}}},
		Places:  []rules.Place{{ID: "bench-1", Kind: rules.Wrap, Sites: []rules.Site{{ID: "ankle", Channels: []rules.Channel{{}}}}}},
		Rules: []rules.Rule{{ID: "tight", Priority: alert.Low, ForgetAfter: time.Hour,
			Limit: &rules.Limit{Watch: "ankle.pressure", Above: &above}}},
	}
	for v, want := range map[float64]string{60.04: "60.04 ± 0.10 mmHg", 63.46: "63.5 ± 0.1 mmHg"} {
		var raised alert.Event
		engine := rules.NewEngine(p, sinkOf(func(e alert.Event) { raised = e }))
		engine.Scan(&sample.Scan{At: noon, Arrived: noon, Values: []float64{v}})
		place := New(p, nil, time.UTC).Place(0, &Now{At: noon, Signals: engine.Signals(0), Holds: engine.Progress(0, nil)})
		if !strings.Contains(raised.Text, ": "+want+" when raised") || !strings.Contains(place.Text, "ankle "+want) {
			t.Errorf("the alert says %q and its place %q, want both to say %s", raised.Text, place.Text, want)
		}
	}
}

// sinkOf is a rules.Sink for alerts alone.
type sinkOf func(alert.Event)

func (f sinkOf) Alert(e alert.Event)       { f(e) }
func (sinkOf) Updated(int, sample.Instant) {}
func (sinkOf) Late(int, *sample.Scan)      {}

func TestRegionsAreBoxes(t *testing.T) {
	got := New(plan(), nil, time.UTC).Place(1, &Now{At: noon}).Mat.Regions
	if want := []Region{{"left_hip", [2]int{1, 2}, [2]int{0, 3}}}; !slices.Equal(got, want) {
		t.Errorf("regions %v, want %v", got, want)
	}
}

func TestAlertKeepsTheNumbersAndWordsThatRaisedIt(t *testing.T) {
	e := alert.Event{At: noon, Key: alert.Key{Place: "bench-1", Rule: "tight", Subject: "ankle"}, What: alert.Raised,
		Priority: alert.High, Unit: "mmHg", Value: 63, U: math.NaN(), Limit: 60, Text: "raised"}
	a := NewAlert(&e)
	e.What, e.Value, e.Text = alert.Unknown, math.NaN(), "unknown"
	a.Apply(&e)
	if a.SignalKnown || a.Text != "raised; there is no current reading" || *a.Value != 63 || a.U != nil || a.State != string(alert.Unacknowledged) {
		t.Errorf("after its signal was lost: %+v", a)
	}
	e.What = alert.Known
	a.Apply(&e)
	if !a.SignalKnown || a.Text != "raised" {
		t.Errorf("after its signal came back: %+v", a)
	}
	e.What, e.At, e.Text, e.State = alert.Cleared, noon.Add(time.Minute), "cleared", alert.Returned
	a.Apply(&e)
	if a.State != string(alert.Returned) || !a.ClearedAt.Equal(noon.Add(time.Minute).Time()) || *a.Value != 63 || a.Text != "raised" {
		t.Errorf("after it was cleared: %+v", a)
	}
	e.What, e.Value, e.Text, e.State = alert.Raised, 70, "again", alert.Unacknowledged
	a.Apply(&e)
	if a.State != string(alert.Unacknowledged) || a.ClearedAt != nil || *a.Value != 70 {
		t.Errorf("after it was raised again: %+v", a)
	}
}

func TestAlertsAreSortedForPeople(t *testing.T) {
	at := func(minutes int) time.Time { return noon.Time().Add(time.Duration(minutes) * time.Minute) }
	cleared := func(minutes int) *time.Time { t := at(minutes); return &t }
	alerts := []Alert{
		{ID: "cleared early", State: string(alert.Normal), Priority: "high", ClearedAt: cleared(1)},
		{ID: "low", State: string(alert.Unacknowledged), Priority: "low", RaisedAt: cleared(9)},
		{ID: "cleared late", State: string(alert.Normal), Priority: "low", ClearedAt: cleared(2)},
		{ID: "high, old", State: string(alert.Unacknowledged), Priority: "high", RaisedAt: cleared(1)},
		{ID: "high, new", State: string(alert.Unacknowledged), Priority: "high", RaisedAt: cleared(2)},
	}
	SortAlerts(alerts)
	var got []string
	for _, a := range alerts {
		got = append(got, a.ID)
	}
	if want := []string{"high, new", "high, old", "low", "cleared late", "cleared early"}; !slices.Equal(got, want) {
		t.Errorf("order %q, want %q", got, want)
	}
}

// What leaves as JSON has no noise of computing, and an alert's value is on the side of the
// limit that made it one.
func TestNumbersAreReadable(t *testing.T) {
	for _, c := range []struct{ v, want float64 }{
		{0.01 * 6970, 69.7}, {63.800000000000004, 63.8}, {1.4999999999999998, 1.5}, {-0.1 - 0.2, -0.3}, {61.205960722392184, 61.206}, {0, 0}, {-0.00001, 0},
	} {
		if got := Measured(c.v); got == nil || *got != c.want || math.Signbit(*got) != math.Signbit(c.want) {
			t.Errorf("%v is told as %v, want %v", c.v, got, c.want)
		}
	}
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		if Measured(v) != nil || Reached(v, 60) != nil {
			t.Errorf("%v is told as a number", v)
		}
	}
	for _, c := range []struct{ v, limit float64 }{
		{60.00001, 60}, {59.99999, 60}, {60, 60}, {60.1, 60}, {70.123456, math.NaN()}, {60.00004, 60.00003},
	} {
		got := Reached(c.v, c.limit)
		if (*got > c.limit) != (c.v > c.limit) || (*got < c.limit) != (c.v < c.limit) || math.Abs(*got-c.v) > 5e-5 {
			t.Errorf("%v, of which the limit is %v, is told as %v", c.v, c.limit, *got)
		}
	}
}
