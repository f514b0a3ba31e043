package toll

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"time"

	"github.com/gorilla/websocket"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/history"
	"weald/stream/hostclock"
	"weald/stream/live"
	"weald/stream/pipeline"
	"weald/stream/view"
)

// among is a scan's way through the pipeline into history and to pages, of the first
// of some wraps of which nobody watches any; or of which a viewer watches the second.
func among(others int, viewed bool, values [][]float64) func(n int) {
	plan := planOf(wrapConfig(others), false)
	clock := &hands{}
	pipe := pipeline.New(pipeline.Options{Plan: plan, Clock: clock, Views: view.New(plan, nil, time.UTC), Queue: 1})
	store := history.New(len(plan.Places), pipe.Series)
	pipe.Follow(store)
	places := make([]live.Place, len(plan.Places))
	for i := range places {
		places[i].ID = plan.Places[i].ID
	}
	hub := live.New(live.Options{Places: places, Pipeline: pipe, Store: store, Clock: clock})
	pipe.Follow(hub)
	heard := make(ear)
	pipe.Follow(heard)
	go pipe.Run(context.Background())
	s := sample.Scan{}
	return func(n int) {
		if viewed && n == 0 { // and not before, as a viewer is asked now and then whether it is there
			watch(hub, places[1].ID)
		}
		clock.at = at(n)
		s.At, s.Arrived, s.Values = at(n), at(n), values[n%minute]
		s.Raw = s.Values
		if err := pipe.Put(context.Background(), &s); err != nil {
			panic(err)
		}
		<-heard
	}
}

// watch has a viewer watch a place until the program ends.
func watch(hub *live.Hub, place string) {
	port := must(net.Listen("tcp", "127.0.0.1:0"))
	go http.Serve(port, hub)
	dialer := websocket.Dialer{Subprotocols: []string{live.Protocol}}
	conn, _, err := dialer.Dial("ws://"+port.Addr().String(), nil)
	if err == nil {
		err = conn.WriteMessage(websocket.TextMessage, fmt.Appendf(nil, `{"subscribe":{"places":[%q],"signals":["%s/*"]}}`, place, place))
	}
	for err == nil {
		var said struct {
			Event   string
			Streams []any
		}
		if err = conn.ReadJSON(&said); err == nil && said.Event == "snapshot" {
			if len(said.Streams) == 0 {
				panic("the viewer watches nothing")
			}
			break
		}
	}
	if err != nil {
		panic(err)
	}
	go func() {
		for {
			if _, _, err := conn.ReadMessage(); err != nil {
				return
			}
		}
	}()
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
