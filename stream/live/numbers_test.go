package live

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/gorilla/websocket"

	"weald/ingest/sample"
	"weald/rules"
)

// hospital is a plan of many beds, each of six cells in as many regions: as many series
// as with a whole mat.
func hospital(n int) *rules.Plan {
	p, _ := beds(n)
	for i := range n {
		mat := p.Places[i].Mat
		mat.Rows, mat.Columns, p.Sources[i].Channels = 6, 1, 6
		for r := range mat.Regions {
			mat.Regions[r].Cells = []int{r}
		}
	}
	return p
}

// far is a viewer behind a fast network, which has room for what nobody has read yet.
func (w *ward) far() *websocket.Conn { return w.dial(w.thin(100 << 20)) }

// snapshot subscribes and returns what comes of it.
func (w *ward) snapshot(conn *websocket.Conn, wish string) (s snapshot) {
	w.t.Helper()
	if err := json.Unmarshal(w.subscribe(conn, `{"subscribe":`+wish+`}`).raw, &s); err != nil {
		w.t.Fatal(err)
	}
	return s
}

// lying feeds one reading of a bed, with v in each of its six cells.
func (w *ward) lying(bed int, v float64) {
	w.put(&sample.Scan{Source: bed, At: w.clock.Now(), Arrived: w.clock.Now(), Values: []float64{v, v, v, v, v, v}})
}

// A daemon may have far more series than a connection has numbers. Each viewer is sent
// those that it asked for, under numbers of its own, which stay as long as it does.
func TestViewersOfTwoThousandBeds(t *testing.T) {
	const n = 2000
	synctest.Test(t, func(t *testing.T) {
		w := newWardOf(t, hospital(n))
		series := 0
		for i := range n {
			series += len(w.hub.Store.Series(i))
		}
		if series < 2*mostNumbers {
			t.Fatalf("%d series are too few to tell", series)
		}

		last, first, round := w.far(), w.far(), w.far()
		of := fmt.Sprintf(`{"places":["bed-%d"],"signals":["bed-%d/*"],"maps":["bed-%d"]}`, n, n, n)
		bed := w.snapshot(last, of)
		if len(bed.Streams) != len(w.hub.Store.Series(n-1)) || len(bed.Maps) != 1 {
			t.Fatalf("%d series and %d maps of one bed", len(bed.Streams), len(bed.Maps))
		}
		w.snapshot(first, `{"signals":["bed-1/mat.peak"]}`)
		all := w.snapshot(round, `{"places":"all","signals":["*/mat.peak"],"maps":"all","bare":true,"news":true}`)
		if len(all.Places) != n || len(all.Streams) != n || len(all.Maps) != n {
			t.Fatalf("%d places, %d series, %d maps of all beds", len(all.Places), len(all.Streams), len(all.Maps))
		}
		taken := map[uint16]bool{}
		for i := range n {
			if all.Streams[i].Place != fmt.Sprintf("bed-%d", i+1) || all.Maps[i].Place != all.Streams[i].Place {
				t.Fatalf("bed %d is called %+v and %+v", i+1, all.Streams[i], all.Maps[i])
			}
			taken[all.Streams[i].Stream], taken[all.Maps[i].Stream] = true, true
		}
		if len(taken) != 2*n {
			t.Errorf("%d numbers for %d series and maps", len(taken), 2*n)
		}

		// What is said of one bed comes under the number that each viewer was given.
		time.Sleep(time.Second)
		w.lying(n-1, 33.3)
		said := func(conn *websocket.Conn, streams []streamInfo, maps []mapInfo) {
			t.Helper()
			number, peak, pressure := uint16(0), false, false
			for _, s := range streams {
				if s.Place == fmt.Sprintf("bed-%d", n) && s.Name == "mat.peak" {
					number = s.Stream
				}
			}
			for !peak || !pressure {
				m := w.frame(conn)
				say(t, conn, fmt.Sprintf(`{"got":%d}`, m.number))
				for k, s := range m.streams {
					switch {
					case m.kind == kindSamples && s == number:
						peak = m.values[k][0] == float32(33.3)
					case m.kind == kindPressure && s == maps[len(maps)-1].Stream:
						pressure = m.cells[0] == 333
					}
				}
			}
		}
		said(last, bed.Streams, bed.Maps)
		said(round, all.Streams, all.Maps)

		// Another subscription leaves the numbers as they are and goes on from them.
		more := w.snapshot(last, strings.ReplaceAll(of, fmt.Sprintf("bed-%d/*", n), "bed-1*/mat.peak"))
		if more.Maps[0] != bed.Maps[0] {
			t.Errorf("the map was %+v and is %+v", bed.Maps[0], more.Maps[0])
		}
		before := map[uint16]bool{bed.Maps[0].Stream: true}
		for _, s := range bed.Streams {
			before[s.Stream] = true
		}
		for _, s := range more.Streams {
			if before[s.Stream] {
				t.Errorf("%+v has a number that was given away", s)
			}
		}
		if again := w.snapshot(last, of); fmt.Sprint(again.Streams, again.Maps) != fmt.Sprint(bed.Streams, bed.Maps) {
			t.Error("a bed has other numbers when it is subscribed again")
		}
	})
}

// A connection has so many numbers and no more: who asks for more is told why it ends,
// whether it asks at once or bit by bit, and the others go on.
func TestViewerThatAsksForMoreSeriesThanThereAreNumbers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWardOf(t, hospital(1000))
		greedy, patient, other := w.far(), w.far(), w.far()
		w.snapshot(other, `{"signals":["bed-1/mat.peak"]}`)
		say(t, greedy, `{"subscribe":{"signals":"all"}}`)
		most := 0
		go func() {
			for i := 1; i < 10; i++ {
				if say := []byte(fmt.Sprintf(`{"subscribe":{"signals":["bed-%d*"]}}`, i)); patient.WriteMessage(websocket.TextMessage, say) != nil {
					return
				}
			}
		}()
		for name, conn := range map[string]*websocket.Conn{"at once": greedy, "bit by bit": patient} {
			var err error
			for err == nil {
				var m *message
				if m, err = w.next(conn); err == nil && m.text["event"] == "snapshot" {
					most++
				}
			}
			if !websocket.IsCloseError(err, websocket.ClosePolicyViolation) || !strings.Contains(err.Error(), "65536 series") {
				t.Errorf("%s: ended with %v", name, err)
			}
		}
		if most == 0 {
			t.Error("what could be numbered was not")
		}
		time.Sleep(time.Second)
		w.lying(0, 20)
		if m := w.frame(other); m.kind != kindSamples || m.values[0][0] != 20 {
			t.Errorf("the other viewer was sent %+v", m.frame)
		}
	})
}
