package toll

import (
	"context"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/history"
	"weald/stream/hostclock"
	"weald/stream/live"
	"weald/stream/pipeline"
	"weald/stream/view"
)

// among is a scan's way through the pipeline into history and to pages, of the first
// of some wraps of which nobody watches any.
func among(others int, values [][]float64) func(n int) {
	plan := planOf(wrapConfig(others), false)
	clock := &hands{}
	pipe := pipeline.New(pipeline.Options{Plan: plan, Clock: clock, Views: view.New(plan, nil, time.UTC), Queue: 1})
	store := history.New(len(plan.Places), pipe.Series)
	pipe.Follow(store)
	places := make([]live.Place, len(plan.Places))
	for i := range places {
		places[i].ID = plan.Places[i].ID
	}
	hub := must(live.New(live.Options{Places: places, Pipeline: pipe, Store: store, Clock: clock}))
	pipe.Follow(hub)
	heard := make(ear)
	pipe.Follow(heard)
	go pipe.Run(context.Background())
	s := sample.Scan{}
	return func(n int) {
		clock.at = at(n)
		s.At, s.Arrived, s.Values = at(n), at(n), values[n%minute]
		s.Raw = s.Values
		if err := pipe.Put(context.Background(), &s); err != nil {
			panic(err)
		}
		<-heard
	}
}

// hands is a clock that is set by hand, between scans.
type hands struct{ at sample.Instant }

func (h *hands) Now() sample.Instant       { return h.at }
func (h *hands) Speed() float64            { return 1 }
func (h *hands) NewTimer() hostclock.Timer { return never{} }

type never struct{}

func (never) C() <-chan time.Time { return nil }
func (never) Reset(time.Duration) {}
func (never) Stop()               {}

// An ear says when a place was evaluated.
type ear chan struct{}

func (e ear) Updated(*pipeline.Update)       { e <- struct{}{} }
func (e ear) Alert(view.Alert, alert.Change) {}
