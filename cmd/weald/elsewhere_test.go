package main

import (
	"math"
	"strings"
	"testing"
	"time"

	"weald/config"
	"weald/ingest"
	"weald/ingest/sample"
	"weald/stream/relay"
)

const elsewhereConfig = `
data: record
web: {listen: "127.0.0.1:0"}
cluster: {servers: ["nats://127.0.0.1:4222"], roles: [judge, serve]}
bridges:
  - {id: board, link: {tcp: {dial: "127.0.0.1:9"}}, format: packed, sources: [{number: 1, id: leg, channels: 2, rate: 10, unit: mmHg}]}
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [board/leg/0]}SITE]}
`

// What a machine that reads tells of a bridge is what the one that judges shows: that nothing
// gets on, and for how long, and scans that could not be handed on. How channels are counted
// is believed of a machine that has the same file only: else groups would be taken for others.
func TestWhatIsToldOfABridge(t *testing.T) {
	t.Parallel()
	mine := parsed(t, strings.Replace(elsewhereConfig, "SITE", "", 1))
	theirs := parsed(t, strings.Replace(elsewhereConfig, "SITE", ", {id: calf, channels: [board/leg/1]}", 1))
	laid := func(c *config.Config) []ingest.Layout { return membersOf(c.Plan()).layouts([]int{0}) }
	b := &mine.Bridges[0]
	e := newElsewhere(b, nil)
	m := membersOf(mine.Plan())
	e.Lay(m.layouts([]int{0}))
	said := e.nothing()
	said.State, said.LastByte = ingest.Open, sample.At(time.Now())
	said.Sources[0].Condition = ingest.Condition{Layout: 7, Mute: []int{0, 1}}
	say := func(h handing) (ingest.Status, string) {
		t.Helper()
		body, err := wordOf(said, h)
		if err != nil {
			t.Fatal(err)
		}
		e.hear(body)
		s := e.Status()
		all := []ingest.Status{s}
		m.complain(all)
		return s, all[0].Sources[0].Trouble
	}
	s, _ := say(handing{Shape: shapeOf(laid(theirs)), Layout: 7})
	if s.Trouble != "" || s.State != ingest.Open || s.Sources[0].Condition.Layout != otherLayout || e.waits() != 0 {
		t.Errorf("of one with another file: %+v", s)
	}
	said.Sources[0].Condition.Mute = []int{1}
	if s, lame := say(handing{Shape: shapeOf(laid(mine)), Layout: 8}); s.Sources[0].Condition.Layout != otherLayout || lame != "" {
		t.Errorf("of one that has counted by its former file: %+v, %q", s, lame)
	}
	if s, lame := say(handing{Shape: shapeOf(laid(mine)), Layout: 7}); s.Sources[0].Condition.Layout != m.layout || !strings.Contains(lame, "site ankle at bench-1") {
		t.Errorf("of one with the same file: %+v, %q", s, lame)
	}
	s, _ = say(handing{Waits: 3 * time.Second, Why: "no majority"})
	if s.Trouble != "" || e.waits() != 3*time.Second {
		t.Errorf("too early: %q, %v", s.Trouble, e.waits())
	}
	s, _ = say(handing{Waits: time.Minute, Why: "no majority", Unsent: map[string]uint64{"board/leg": 3}})
	if since := time.Since(s.TroubleSince.Time()); !strings.Contains(s.Trouble, "taken no reading for 1m0s") || !strings.Contains(s.Trouble, "no majority") || since < 55*time.Second || since > 2*time.Minute {
		t.Errorf("nothing gets on: %q since %v", s.Trouble, since)
	}
	if words := s.Sources[0].Trouble; !strings.Contains(words, "3 scans could not be handed on") {
		t.Errorf("three were left: %q", words)
	}
}

// What has to be judged still is a number of the daemon's own, and a reason not to be ready,
// from whichever side it is held up; of a judge that has just begun nothing is known.
func TestHowLongReadingsWait(t *testing.T) {
	t.Parallel()
	c := parsed(t, strings.Replace(elsewhereConfig, "SITE", "", 1))
	in := newInflow(nil)
	e := newElsewhere(&c.Bridges[0], nil)
	bridges := []*running{{line: e, spec: c.Bridges[0]}}
	now := sample.At(time.Now())
	if v := in.waits(now, bridges); !math.IsNaN(v) || len(in.troubles()) != 1 {
		t.Errorf("before anything: %v, %q", v, in.troubles())
	}
	in.follower.Store(new(relay.Follower))
	if v := in.waits(now, bridges); v != 0 {
		t.Errorf("before the first reading: %v", v)
	}
	if why := in.troubles(); len(why) != 1 || !strings.Contains(why[0], "catches up") {
		t.Errorf("what waited is not judged: %q", why)
	}
	close(in.abreast)
	if why := in.troubles(); len(why) != 0 || in.catchesUp() {
		t.Errorf("all is judged: %q", why)
	}
	body, err := wordOf(e.nothing(), handing{Waits: time.Minute})
	if err != nil {
		t.Fatal(err)
	}
	e.hear(body)
	if v := in.waits(now, bridges); v != 60 {
		t.Errorf("the machine that reads has had nothing taken for a minute: %v", v)
	}
	var none *inflow
	if none.troubles() != nil || none.until() != nil || none.catchesUp() {
		t.Error("a machine that reads its bridges itself waits for others")
	}
}
