package live

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net"
	"net/http"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/gorilla/websocket"

	"weald/ingest"
	"weald/ingest/calib"
	frames "weald/ingest/frame"
	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/history"
	"weald/stream/hostclock"
	"weald/stream/pipeline"
	"weald/stream/view"
)

// A wire is a bridge's link in memory: what is written to its other end is read
// by the daemon.
type wire struct {
	name string
	io.Reader
}

func (w wire) Name() string                                { return w.name }
func (w wire) Open(context.Context) (io.ReadCloser, error) { return io.NopCloser(w), nil }

// beds is a plan with n mats of 32 x 64 cells in six regions, each judged cell
// by cell.
func beds(n int) (*rules.Plan, []Place) {
	above := 60.0
	plan := &rules.Plan{Rules: []rules.Rule{{
		ID: "loaded", Priority: alert.Low, OnDelay: time.Hour, ForgetAfter: rules.DefaultForgetAfter,
		Limit: &rules.Limit{Watch: "mat.pressure", Above: &above},
	}}}
	var places []Place
	for i := range n {
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
	return plan, places
}

// BenchmarkBytesToViewer measures how long it takes from the moment at which the
// bytes of a mat's scan reach the daemon until its pressure map has reached a
// viewer through a loopback socket: 50 mats of 32 x 64 cells behind ten bridges
// of packed 12-bit frames, judged cell by cell, ten scans a second each, one
// viewer that follows everything and three that follow one bed each.
//
// An iteration is one scan; 500 of them take a second, whatever the machine.
func BenchmarkBytesToViewer(b *testing.B) {
	const mats, hubs, rate = 50, 10, 10
	plan, places := beds(mats)
	clock := hostclock.New(1)
	pipe := pipeline.New(pipeline.Options{Plan: plan, Clock: clock, Views: view.New(plan, nil, time.UTC)})
	store := history.New(mats, pipe.Series)
	pipe.Follow(store)
	hub := New(Options{Places: places, Pipeline: pipe, Store: store, Clock: clock})
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

	// The first cell of each scan holds its turn, so that the viewer can tell
	// when its bytes were sent.
	const turns = 2000
	// The first scan of a source may be held back until the second says
	// whether it was damaged; that is not what is measured here.
	const warmUp = 2
	var sent [mats][turns]atomic.Int64
	var took []time.Duration // of the first viewer's pressure maps
	follow := func(wish string, named func([]mapInfo), seen func(frame)) *websocket.Conn {
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
				if snap := (snapshot{}); kind == websocket.TextMessage && json.Unmarshal(body, &snap) == nil && snap.Event == "snapshot" {
					named(snap.Maps)
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
	numbered := map[uint16]int{} // the number of each bed's map
	viewers := []*websocket.Conn{follow(`{"subscribe":{"places":"all","signals":["*"],"maps":["*"]}}`, func(maps []mapInfo) {
		for bed, m := range maps { // in the order of the plan
			numbered[m.Stream] = bed
		}
	}, func(f frame) {
		if f.kind == kindPressure && f.cells[1] != 0x8000 {
			bed := numbered[f.streams[0]]
			turn := int(math.Round(float64(f.cells[0]) * float64(f.scale)))
			if turn >= warmUp {
				took = append(took, clock.Now().Sub(sample.Instant(sent[bed][turn].Load())))
			}
		}
	})}
	for i := range 3 {
		viewers = append(viewers, follow(fmt.Sprintf(`{"subscribe":{"places":["bed-%d"],"signals":["bed-%d/*"],"maps":["bed-%d"]}}`, i+1, i+1, i+1), func([]mapInfo) {}, func(frame) {}))
	}
	for !subscribed(hub, len(viewers)) {
		time.Sleep(time.Millisecond)
	}

	var ends [hubs]*io.PipeWriter
	for h := range ends {
		r, w := io.Pipe()
		ends[h] = w
		bridge := ingest.Bridge{ID: fmt.Sprintf("hub-%d", h), Link: wire{fmt.Sprintf("wire %d", h), r}, Format: ingest.Format{Kind: ingest.Packed}}
		for i := h; i < mats; i += hubs {
			bridge.Sources = append(bridge.Sources, ingest.Source{
				Number: uint16(i), ID: plan.Sources[i].ID, Index: i, Channels: 32 * 64, Rate: rate, StaleAfter: time.Second, Unit: calib.MMHg,
			})
		}
		supervisor, err := ingest.New(bridge, ingest.Options{
			Now: clock.Now, Out: func(s *sample.Scan) { pipe.Put(ctx, s) },
		})
		if err != nil {
			b.Fatal(err)
		}
		running.Go(func() { supervisor.Run(ctx) })
	}

	f := &frames.Frame{Kind: frames.Readings, Readings: make([]float64, 32*64)}
	for i := range f.Readings {
		f.Readings[i] = float64(i % 90)
	}
	var bare, bytes []byte
	b.ResetTimer()
	began := time.Now()
	for i := range b.N {
		bed, turn := i%mats, i/mats
		due := began.Add(time.Duration(i) * time.Second / (mats * rate))
		f.Source, f.Seq, f.Millis = uint16(bed), uint32(turn), uint32(time.Since(began).Milliseconds())
		f.Readings[0] = float64(turn % turns)
		if bare, err = frames.AppendPacked(bare[:0], f, frames.U12); err != nil {
			b.Fatal(err)
		}
		bytes = append(frames.AppendCOBS(bytes[:0], bare), 0)
		time.Sleep(time.Until(due))
		sent[bed][turn%turns].Store(int64(clock.Now()))
		if _, err := ends[bed%hubs].Write(bytes); err != nil {
			b.Fatal(err)
		}
	}
	b.StopTimer()
	time.Sleep(200 * time.Millisecond)
	stop() // the hub sends the viewers away
	for _, w := range ends {
		w.Close()
	}
	server.Close()
	running.Wait()

	// A map that is replaced before its turn comes is not a loss, but on a
	// machine that is not overloaded it should not happen.
	b.ReportMetric(100*float64(len(took))/float64(max(1, b.N-warmUp*mats)), "%-seen")
	if taken := pipe.Load().Scans; taken < uint64(b.N) || len(took) < b.N/2-warmUp*mats {
		b.Errorf("of %d scans the pipeline took %d and the viewer saw %d", b.N, taken, len(took))
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
