package calibrating

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"weald/ingest/calib/fit"
	"weald/ingest/calib/protocol"
	"weald/ingest/calib/record"
	"weald/ingest/sample"
)

// A cuff is a source of two channels whose time the test tells.
type cuff struct {
	now      sample.Instant
	pressure float64
	scans    int
}

func (c *cuff) raw(source int, into []float64) ([]float64, sample.Instant) {
	c.scans++
	flutter := float64(c.scans % 2)
	return append(into, math.Round(100+8*c.pressure)+flutter, 7), c.now
}

// A notebook keeps what a desk has to keep, unless it is full.
type notebook struct {
	full    error
	refused []*record.Refused
	tried   map[sample.Instant]bool // as of when what was refused was to be kept
	parts   map[string][]byte
}

func (n *notebook) Write(_ context.Context, part string, body []byte) error {
	if n.full == nil {
		if n.parts == nil {
			n.parts = map[string][]byte{}
		}
		n.parts[part] = body
	}
	return n.full
}

func (n *notebook) Read(_ context.Context, part string) ([]byte, error) { return n.parts[part], nil }

func (n *notebook) Refuse(_ context.Context, r *record.Refused, written sample.Instant) error {
	if n.tried == nil {
		n.tried = map[sample.Instant]bool{}
	}
	n.tried[written] = true
	if n.full == nil {
		n.refused = append(n.refused, r)
	}
	return n.full
}

// A run by plateau alone: the first channel is calibrated, the second is dead and
// refused; what came of it can be had until it is left.
func TestARun(t *testing.T) {
	c := &cuff{now: sample.At(time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC))}
	full := errors.New("the disk is full")
	book := &notebook{full: full}
	d := New(c.raw, func() sample.Instant { return c.now }, book)
	levels, err := protocol.Levels(0, 40, 10, 1)
	if err != nil {
		t.Fatal(err)
	}
	o := fit.Defaults()
	o.ReferenceU = 0.5
	ask := Ask{Of: fit.Circumstances{Bridge: "hub", Source: "leg", By: "E-01", Reference: "gauge"}, Width: 2, Channels: []int{0, 1}, Fit: o,
		Plan: protocol.Plan{Levels: levels, Dwell: 5 * time.Second}}
	if err := d.Ready("c-1"); !errors.Is(err, ErrNone) {
		t.Errorf("before it began: %v", err)
	}
	if err := d.Begin("c-1", ask); err != nil {
		t.Fatal(err)
	}
	if err := d.Begin("c-2", ask); !errors.Is(err, ErrBusy) {
		t.Errorf("a second run: %v", err)
	}
	keep := func(channels ...int) (kept []*record.Record, err error) {
		err = d.Keep("c-1", channels, func(r *record.Record) (bool, error) { kept = append(kept, r); return true, nil })
		return kept, err
	}
	if _, err := keep(0); !errors.Is(err, ErrStage) {
		t.Errorf("too early: %v", err)
	}
	for name, act := range map[string]error{"ready": d.Ready("c-0"), "again": d.Again("c-0"), "gauge": d.Gauge("c-0", 0, 1, false), "finish": d.Finish("c-0"), "leave": d.Leave("c-0"),
		"keep": d.Keep("c-0", nil, func(*record.Record) (bool, error) { return true, nil })} {
		if !errors.Is(act, ErrOther) {
			t.Errorf("%s of another run: %v", name, act)
		}
	}
	if err := d.Finish("c-1"); !errors.Is(err, ErrStage) {
		t.Errorf("before anything was read: %v", err)
	}
	var raw []float64
	looked := sample.Past
	for i, l := range levels {
		c.pressure = l.Reference
		for range 200 {
			c.now = c.now.Add(100 * time.Millisecond)
			raw, looked = d.step(raw, looked)
			p, err := d.Progress()
			if err != nil {
				t.Fatal(err)
			}
			if len(p.Taken) > i+1 {
				t.Fatalf("level %d was read twice", i)
			}
		}
		if p, _ := d.Progress(); len(p.Taken) != i+1 {
			t.Fatalf("level %d of %v was not read: %+v", i, levels, p.Channels)
		}
	}
	p, err := d.Progress()
	if err != nil || !p.Fitting || p.Finished || p.Next != nil {
		t.Fatalf("%+v, %v", p, err)
	}
	d.fit()
	if p, err = d.Progress(); err != nil || p.Fitting || !p.Finished {
		t.Fatalf("%+v, %v", p, err)
	}
	if p.Channels[0].Made.Record == nil || p.Channels[1].Made.Record != nil || p.Channels[1].Made.Refused == nil {
		t.Errorf("%+v", p.Channels)
	}
	d.refuse(t.Context()) // finds no room
	c.now = c.now.Add(time.Second)
	book.full = nil
	d.refuse(t.Context())
	d.refuse(t.Context())
	if len(book.tried) != 1 {
		t.Errorf("what may have been kept is tried again as another call: %v", book.tried)
	}
	if len(book.refused) != 1 {
		t.Fatalf("%d channels are kept as refused, want 1", len(book.refused))
	}
	if r := book.refused[0]; r.Check() != nil || r.Channel != 1 || r.By != "E-01" || len(r.Rows) != len(levels) || !strings.Contains(r.Reasons[0], "does not respond") || *r.Limits != (record.Limits{Warn: 5, Reject: 15}) {
		t.Errorf("%+v, %v", r, r.Check())
	}
	if _, err := keep(1); err == nil || errors.Is(err, ErrChannel) {
		t.Errorf("a dead channel: %v", err)
	}
	if _, err := keep(2); !errors.Is(err, ErrChannel) {
		t.Errorf("no channel: %v", err)
	}
	if err := d.Keep("c-1", nil, func(*record.Record) (bool, error) { return false, full }); !errors.Is(err, full) {
		t.Errorf("a disk that refuses: %v", err)
	}
	kept, err := keep()
	if err != nil || len(kept) != 1 {
		t.Fatalf("%v, %v", kept, err)
	}
	r := kept[0]
	if r.By != "E-01" || r.Channel != 0 || r.Check() != nil || math.Abs(r.Calibration.Loading.At(260)-20) > 1 {
		t.Errorf("%+v, %v", r, err)
	}
	if p, _ := d.Progress(); p.Channels[0].Kept != r.ID() {
		t.Errorf("kept %q", p.Channels[0].Kept)
	}
	if kept, err := keep(); err != nil || len(kept) != 0 {
		t.Errorf("in force already, and kept again: %v, %v", kept, err)
	}
	if err := d.Again("c-1"); !errors.Is(err, ErrStage) {
		t.Errorf("after the end: %v", err)
	}
	if err := d.Leave("c-1"); err != nil {
		t.Fatal(err)
	}
	if _, err := d.Progress(); !errors.Is(err, ErrNone) {
		t.Errorf("after it was left: %v", err)
	}
}

// What is left while it is being fitted is gone, and leaves nothing in the next run.
func TestLeftWhileItIsFitted(t *testing.T) {
	c := &cuff{now: sample.At(time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC))}
	d := New(c.raw, func() sample.Instant { return c.now }, nil)
	ask := Ask{Width: 2, Channels: []int{0}, Fit: fit.Defaults(), Plan: protocol.Plan{Levels: []protocol.Level{{Cycle: 1}, {Cycle: 1, Reference: 10}}, Dwell: 5 * time.Second}}
	for _, id := range []string{"c-1", "c-2"} {
		if err := d.Begin(id, ask); err != nil {
			t.Fatal(err)
		}
		d.stage = fitting
		if id == "c-1" {
			if err := d.Leave(id); err != nil {
				t.Fatal(err)
			}
		}
		d.fit()
	}
	if p, err := d.Progress(); err != nil || p.ID != "c-2" || !p.Finished || p.Channels[0].Made.Refused == nil {
		t.Errorf("%+v, %v", p, err)
	}
}

func TestAChannelNamedTwice(t *testing.T) {
	d := New(nil, func() sample.Instant { return 0 }, nil)
	err := d.Begin("c-1", Ask{Width: 2, Channels: []int{0, 1, 1}, Plan: protocol.Plan{Levels: make([]protocol.Level, 2), Dwell: 5 * time.Second}})
	if !errors.Is(err, ErrTwice) {
		t.Error(err)
	}
}
