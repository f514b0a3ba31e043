package live

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/gorilla/websocket"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/history"
	"weald/stream/hostclock"
	"weald/stream/pipeline"
	"weald/stream/view"
)

// BenchmarkScanToViewer measures how long it takes from the moment at which a
// scan of a mat is handed to the pipeline until its pressure map has reached a
// viewer through a loopback socket: 50 mats of 32 x 64 cells, judged cell by
// cell, ten scans a second each, one viewer that follows everything and three
// that follow one bed each.
//
// An iteration is one scan; 500 of them take a second, whatever the machine.
func BenchmarkScanToViewer(b *testing.B) {
	const mats, rate = 50, 10
	above := 60.0
	plan := &rules.Plan{Rules: []rules.Rule{{
		ID: "loaded", Priority: alert.Low, OnDelay: time.Hour, ForgetAfter: rules.DefaultForgetAfter,
		Limit: &rules.Limit{Watch: "mat.pressure", Above: &above},
	}}}
	var places []Place
	for i := range mats {
		id := fmt.Sprintf("bed-%d", i+1)
		mat := &rules.Mat{Source: i, Rows: 32, Columns: 64, PitchMM: [2]float64{25, 25}, LoadedAbove: 20}
		for r := range 6 {
			region := rules.Region{ID: fmt.Sprintf("r%d", r)}
			for c := r * 5 * 64; c < (r+1)*5*64; c++ {
				region.Cells = append(region.Cells, c)
			}
			mat.Regions = append(mat.Regions, region)
		}
		plan.Sources = append(plan.Sources, rules.Source{ID: "hub/" + id, Channels: 32 * 64, StaleAfter: time.Second, Calibrated: true})
		plan.Places = append(plan.Places, rules.Place{ID: id, Kind: rules.Bed, Mat: mat})
		places = append(places, Place{ID: id, Rows: 32, Columns: 64})
	}
	clock := hostclock.New(1)
	pipe := pipeline.New(pipeline.Options{Plan: plan, Clock: clock, Views: view.New(plan, nil, time.UTC)})
	store := history.New(mats, pipe.Series)
	pipe.Follow(store)
	hub, err := New(Options{Places: places, Pipeline: pipe, Store: store, Clock: clock})
	if err != nil {
		b.Fatal(err)
	}
	pipe.Follow(hub)

	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	server := &http.Server{Handler: hub}
	ctx, stop := context.WithCancel(context.Background())
	var running sync.WaitGroup
	running.Go(func() { pipe.Run(ctx) })
	running.Go(func() { hub.Run(ctx) })
	running.Go(func() { server.Serve(l) })
	defer func() { stop(); server.Close(); running.Wait() }()

	var took []time.Duration // of the first viewer's pressure maps
	follow := func(wish string, seen func(frame)) *websocket.Conn {
		conn, _, err := websocket.DefaultDialer.Dial("ws://"+l.Addr().String(), nil)
		if err != nil {
			b.Fatal(err)
		}
		if err := conn.WriteMessage(websocket.TextMessage, []byte(wish)); err != nil {
			b.Fatal(err)
		}
		running.Go(func() {
			for {
				kind, body, err := conn.ReadMessage()
				if err != nil {
					return
				}
				if kind == websocket.BinaryMessage {
					f, err := decode(body)
					if err != nil {
						b.Error(err)
						return
					}
					seen(f)
					conn.WriteMessage(websocket.TextMessage, fmt.Appendf(nil, `{"got":%d}`, f.number))
				}
			}
		})
		return conn
	}
	viewers := []*websocket.Conn{follow(`{"subscribe":{"places":"all","signals":["*"],"maps":["*"]}}`, func(f frame) {
		if f.kind == kindPressure && f.base > 0 {
			took = append(took, clock.Now().Sub(sample.Instant(f.base*1e6)))
		}
	})}
	for i := range 3 {
		viewers = append(viewers, follow(fmt.Sprintf(`{"subscribe":{"places":["bed-%d"],"signals":["bed-%d/*"],"maps":["bed-%d"]}}`, i+1, i+1, i+1), func(frame) {}))
	}
	for !subscribed(hub, len(viewers)) {
		time.Sleep(time.Millisecond)
	}

	s := &sample.Scan{Values: make([]float64, 32*64)}
	for i := range s.Values {
		s.Values[i] = float64(i%90) + 0.5
	}
	b.ResetTimer()
	next := time.Now()
	for i := range b.N {
		next = next.Add(time.Second / (mats * rate))
		time.Sleep(time.Until(next))
		s.Source, s.At, s.Arrived = i%mats, clock.Now(), clock.Now()
		if err := pipe.Put(ctx, s); err != nil {
			b.Fatal(err)
		}
	}
	b.StopTimer()
	time.Sleep(200 * time.Millisecond)
	stop() // the hub sends the viewers away
	server.Close()
	running.Wait()

	if len(took) < b.N*9/10 {
		b.Errorf("%d of %d maps reached the viewer", len(took), b.N)
	}
	slices.Sort(took)
	if n := len(took); n > 0 {
		b.ReportMetric(took[n/2].Seconds()*1e3, "p50-ms")
		b.ReportMetric(took[n*99/100].Seconds()*1e3, "p99-ms")
		b.ReportMetric(took[n-1].Seconds()*1e3, "max-ms")
	}
}

func subscribed(h *Hub, n int) bool {
	for _, c := range *h.clients.Load() {
		if c.sub.Load() != nil {
			n--
		}
	}
	return n == 0
}
