package live

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/gorilla/websocket"

	"weald/stream/pipeline"
)

// until reads messages until one has that event, confirming frames, and returns
// it.
func (w *ward) until(conn *websocket.Conn, event string) *message {
	w.t.Helper()
	for {
		m, err := w.next(conn)
		if err != nil {
			w.t.Fatalf("before any %s: %v", event, err)
		}
		if m.text == nil {
			say(w.t, conn, fmt.Sprintf(`{"got":%d}`, m.number))
		} else if m.text["event"] == event {
			return m
		}
	}
}

// subscribe says what a viewer wants, and reads on to what there is of it.
func (w *ward) subscribe(conn *websocket.Conn, wish string) *message {
	w.t.Helper()
	say(w.t, conn, wish)
	return w.until(conn, "snapshot")
}

// views returns those of places that come between so many beats.
func (w *ward) views(conn *websocket.Conn, beats int) (got [][]byte) {
	w.t.Helper()
	for beats > 0 {
		m, err := w.next(conn)
		if err != nil {
			w.t.Fatal(err)
		}
		switch m.text["event"] {
		case "beat":
			beats--
		case "place":
			got = append(got, m.raw)
		}
	}
	return got
}

// frame reads on to the next binary frame, and leaves it unconfirmed.
func (w *ward) frame(conn *websocket.Conn) *message {
	w.t.Helper()
	for {
		m, err := w.next(conn)
		if err != nil {
			w.t.Fatal(err)
		}
		if m.text == nil {
			return m
		}
	}
}

func TestViewerGetsSnapshotThenReadings(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWard(t)
		conn := w.dial(nil)
		if m := w.until(conn, "hello"); m.text["protocol"] != Protocol || m.text["version"] != "test" || m.text["speed"] != 1.0 {
			t.Errorf("hello %v", m.text)
		}
		say(t, conn, `{"subscribe":{"places":["bench-1"],"signals":["bench-1/s01.p*","bench-1/s00.used/tight"],"maps":["bed-1","nowhere"]}}`)
		var snap snapshot
		if err := json.Unmarshal(w.until(conn, "snapshot").raw, &snap); err != nil {
			t.Fatal(err)
		}
		if len(snap.Places) != 1 || snap.Places[0].ID != "bench-1" || snap.Places[0].Text != "no readings yet" {
			t.Errorf("places %+v", snap.Places)
		}
		if len(snap.Streams) != 2 || snap.Streams[0].Name != "s01.pressure" || snap.Streams[1].Unit != "1" {
			t.Errorf("streams %+v", snap.Streams)
		}
		if len(snap.Maps) != 1 || snap.Maps[0].Rows != 32 || snap.Maps[0].Columns != 64 {
			t.Errorf("maps %+v", snap.Maps)
		}

		time.Sleep(time.Second)
		at := w.clock.Now()
		w.leg(40)
		m := w.frame(conn)
		if m.at != at {
			t.Errorf("a reading after a quiet while took %v, want none", m.at.Sub(at))
		}
		if m.kind != 1 || m.number != 1 || m.base != float64(at)/1e6 || len(m.streams) != 2 ||
			m.streams[0] != snap.Streams[0].Stream || m.dt[0][0] != 0 || m.values[0][0] != 20 || m.values[1][0] != 0 {
			t.Errorf("frame %+v", m.frame)
		}
		w.mat(33.3)
		m = w.frame(conn)
		if m.kind != 2 || m.streams[0] != snap.Maps[0].Stream || m.scale != 0.1 || int16(m.cells[0]) != math.MinInt16 || m.cells[1] != 333 {
			t.Errorf("map %d %v %v %v", m.kind, m.streams, m.scale, m.cells[:2])
		}
		m = w.frame(conn)
		if m.kind != 3 || m.scale != 1 || m.cells[0] != 65535 || m.cells[1] != 0 {
			t.Errorf("loaded map %d %v %v", m.kind, m.scale, m.cells[:2])
		}
	})
}

func TestReadingsComeInBatchesAndNoneIsLost(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWard(t)
		conn := w.dial(nil)
		w.subscribe(conn, `{"subscribe":{"signals":["bench-1/s00.pressure"]}}`)
		w.running.Go(func() {
			for i := range 50 { // one second
				w.leg(float64(i))
				time.Sleep(20 * time.Millisecond)
			}
		})
		var got []float32
		frames := 0
		for len(got) < 50 {
			m, err := w.next(conn)
			if err != nil {
				t.Fatal(err)
			}
			if m.text != nil {
				continue
			}
			frames++
			got = append(got, m.values[0]...)
			if m.flags != 0 {
				t.Errorf("frame %d says that readings were left out", m.number)
			}
			say(t, conn, fmt.Sprintf(`{"got":%d}`, m.number))
		}
		for i, v := range got {
			if v != float32(i) {
				t.Fatalf("reading %d is %v", i, v)
			}
		}
		if frames < 10 || frames > 13 {
			t.Errorf("%d frames for a second, want about one every 100 ms", frames)
		}
	})
}

func TestViewerThatConfirmsNothingGetsFourFrames(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWard(t)
		w.feed()
		conn := w.dial(nil)
		say(t, conn, everything)
		frames, beats := 0, 0
		for beats < 5 {
			m, err := w.next(conn)
			switch {
			case err != nil:
				t.Fatal(err)
			case m.text == nil:
				frames++
			case m.text["event"] == "beat":
				beats++
			}
		}
		if frames != 4 {
			t.Errorf("%d frames in five seconds, want 4", frames)
		}
	})
}

func TestStuckViewerIsDroppedAtTheDeadline(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWard(t)
		w.feed()
		w.dial(nil) // and never read
		synctest.Wait()
		time.Sleep(writeDeadline - time.Nanosecond)
		synctest.Wait()
		if n := w.hub.Clients(); n != 1 {
			t.Fatalf("a nanosecond before the deadline there are %d viewers", n)
		}
		time.Sleep(time.Nanosecond)
		synctest.Wait()
		if n := w.hub.Clients(); n != 0 {
			t.Errorf("at the deadline there are %d viewers", n)
		}
		if n := w.hub.Ended(endedSlow); n != 1 {
			t.Errorf("%d viewers were counted as slow", n)
		}
	})
}

func TestSlowViewerIsShownThePresent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWard(t)
		w.feed() // 44 kB/s
		conn := w.dial(w.thin(20_000))
		say(t, conn, everything)
		kinds := map[byte]int{}
		skipped := 0
		var worstNewest, worstOldest float64
		for began := w.clock.Now(); w.clock.Now().Sub(began) < 30*time.Second; {
			m, err := w.next(conn)
			if err != nil {
				t.Fatal(err)
			}
			if m.text != nil {
				continue
			}
			kinds[m.kind]++
			skipped += int(m.flags & flagSkipped)
			now := float64(m.at) / 1e6
			oldest, newest := m.base, m.base
			for _, dts := range m.dt {
				for _, dt := range dts {
					oldest = min(oldest, m.base+float64(dt))
				}
			}
			worstNewest, worstOldest = max(worstNewest, now-newest), max(worstOldest, now-oldest)
			say(t, conn, fmt.Sprintf(`{"got":%d}`, m.number))
		}
		t.Logf("kinds %v, %d with readings left out, newest at worst %.0f ms old, oldest %.0f ms", kinds, skipped, worstNewest, worstOldest)
		if worstNewest > 1000 || worstOldest > 1300 {
			t.Errorf("was shown what is %.0f ms old, readings of %.0f ms ago", worstNewest, worstOldest)
		}
		if kinds[1] < 60 || kinds[2] < 45 || kinds[3] < 15 || skipped == 0 {
			t.Errorf("frames by kind %v, %d skipped: not fair", kinds, skipped)
		}
	})
}

// An alert is told by its raise time and what happened.
func (w *ward) alerts(conn *websocket.Conn, n int) (got []string) {
	for len(got) < n {
		m := w.until(conn, "alert")
		a := m.text["alert"].(map[string]any)
		got = append(got, fmt.Sprint(m.text["what"], " ", a["raised_at"]))
	}
	return got
}

// Each site is raised three times, as a fourth one within ten minutes would make
// it chatter, and be told once.
func TestAlertsAllArriveInOrderOnAThinLink(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWardOf(t, ruled())
		conn := w.dial(w.thin(20_000))
		w.subscribe(conn, everything)
		var want []string
		w.running.Go(func() {
			for i := range 72 {
				want = append(want, "raised "+w.clock.Now().String())
				w.only(i%24, 70)
				time.Sleep(50 * time.Millisecond)
				want = append(want, "cleared "+want[len(want)-1][len("raised "):])
				w.only(i%24, 50)
				time.Sleep(50 * time.Millisecond)
				w.mat(30)
			}
		})
		got := w.alerts(conn, 144)
		synctest.Wait()
		for i := range want {
			if got[i] != want[i] {
				t.Fatalf("change %d is %q, want %q", i, got[i], want[i])
			}
		}
	})
}

func TestViewerThatLetsAlertsPileUpIsSentAway(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWard(t)
		conn := w.dial(nil)
		w.subscribe(conn, everything)
		for range textQueue/2 + 5 { // two changes each, and nobody reads
			w.leg(70)
			w.leg(math.NaN())
			time.Sleep(time.Millisecond)
		}
		var err error
		for err == nil {
			_, err = w.next(conn)
		}
		if !websocket.IsCloseError(err, websocket.CloseTryAgainLater) {
			t.Errorf("ended with %v, want 1013", err)
		}
		synctest.Wait()
		if n := w.hub.Ended(endedSlow); n != 1 {
			t.Errorf("%d viewers were counted as slow", n)
		}
	})
}

func TestViewerThatBreaksTheProtocolIsSentAway(t *testing.T) {
	tests := []struct {
		name, text string
		kind, code int
	}{
		{"a frame from the future", `{"got":4000000000}`, websocket.TextMessage, websocket.ClosePolicyViolation},
		{"one frame more than was sent", `{"got":1}`, websocket.TextMessage, websocket.ClosePolicyViolation},
		{"a negative number", `{"got":-1}`, websocket.TextMessage, websocket.CloseInvalidFramePayloadData},
		{"a number out of range", `{"got":1e300}`, websocket.TextMessage, websocket.CloseInvalidFramePayloadData},
		{"garbage", `{"subscribe"`, websocket.TextMessage, websocket.CloseInvalidFramePayloadData},
		{"no text at all", "\xff\xfe\x00", websocket.TextMessage, websocket.CloseInvalidFramePayloadData},
		{"the wrong shape", `{"subscribe":{"places":{"a":1}}}`, websocket.TextMessage, websocket.CloseInvalidFramePayloadData},
		{"neither", `{}`, websocket.TextMessage, websocket.ClosePolicyViolation},
		{"null", `null`, websocket.TextMessage, websocket.ClosePolicyViolation},
		{"both", `{"got":0,"subscribe":{}}`, websocket.TextMessage, websocket.ClosePolicyViolation},
		{"deep nesting", strings.Repeat("[", 4000), websocket.TextMessage, websocket.CloseInvalidFramePayloadData},
		{"too many names", `{"subscribe":{"signals":["a"` + strings.Repeat(`,"a"`, mostNames) + `]}}`, websocket.TextMessage, websocket.ClosePolicyViolation},
		{"binary", `{"got":0}`, websocket.BinaryMessage, websocket.CloseUnsupportedData},
		{"too large", strings.Repeat(" ", readLimit+1), websocket.TextMessage, websocket.CloseMessageTooBig},
	}
	for _, tt := range tests {
		synctest.Test(t, func(t *testing.T) {
			w := newWard(t)
			conn := w.dial(nil)
			w.until(conn, "hello")
			go conn.WriteMessage(tt.kind, []byte(tt.text))
			var err error
			for err == nil {
				_, err = w.next(conn)
			}
			if !websocket.IsCloseError(err, tt.code) {
				t.Errorf("%s: ended with %v, want %d", tt.name, err, tt.code)
			}
			synctest.Wait()
			if w.hub.Clients() != 0 || w.hub.Ended(endedLies) != 1 {
				t.Errorf("%s: %d viewers left, %d counted", tt.name, w.hub.Clients(), w.hub.Ended(endedLies))
			}
		})
	}
}

func TestNoBeatWhileThePipelineHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWard(t)
		conn := w.dial(nil)
		w.until(conn, "beat")
		release, hanging := make(chan struct{}), w.clock.Now()
		go w.pipe.Do(t.Context(), func(*pipeline.State) { <-release })
		go func() { time.Sleep(10 * time.Second); close(release) }()
		w.until(conn, "beat") // one may have been on its way
		if after := w.until(conn, "beat").at.Sub(hanging); after < 10*time.Second {
			t.Errorf("a beat %v after the pipeline began to hang", after)
		}
	})
}

func TestPlacesAreToldWhenTheyChangeOnceASecondAtMost(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWard(t)
		conn := w.dial(nil)
		w.subscribe(conn, `{"subscribe":{"places":["bench-1"]}}`)
		w.running.Go(func() {
			for i := range 100 { // ten seconds, each reading another
				w.leg(float64(i) / 2)
				time.Sleep(100 * time.Millisecond)
			}
		})
		texts := w.views(conn, 30)
		if n := len(texts); n < 10 || n > 12 {
			t.Errorf("%d views in ten seconds of changes and twenty of silence", n)
		}
		if !bytes.Contains(texts[len(texts)-1], []byte("no readings since")) {
			t.Errorf("the last view does not say that it is silent: %s", texts[len(texts)-1])
		}
	})
}

func TestStoppingDaemonSaysGoodbye(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWard(t)
		conn := w.dial(nil)
		w.until(conn, "hello")
		w.stop()
		_, err := w.next(conn)
		if !websocket.IsCloseError(err, websocket.CloseGoingAway) {
			t.Errorf("ended with %v, want 1001", err)
		}
	})
}

func TestViewerThatAnswersNoPingIsGivenUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWard(t)
		conn := w.dial(nil)
		conn.SetPingHandler(func(string) error { return nil })
		began := w.clock.Now()
		var err error
		for err == nil {
			_, err = w.next(conn)
		}
		if lasted := w.clock.Now().Sub(began); lasted != readDeadline {
			t.Errorf("given up after %v (%v), want %v", lasted, err, readDeadline)
		}
	})
}

func TestPatterns(t *testing.T) {
	tests := []struct {
		pattern, name string
		want          bool
	}{
		{"bench-1/ankle.pressure", "bench-1/ankle.pressure", true},
		{"bench-1/ankle", "bench-1/ankle.pressure", false},
		{"bench-1/*", "bench-1/ankle.used/tight", true},
		{"bench-1/*", "bench-10/ankle.pressure", false},
		{"*.used/*", "bed-1/heels.used/turn", true},
		{"*", "", true},
		{"", "", true},
		{"", "a", false},
		{"a*b*c", "aXbYbZc", true},
		{"a*b*c", "aXbYbZ", false},
		{strings.Repeat("*a", 1000), strings.Repeat("a", 100) + "b", false},
	}
	for _, tt := range tests {
		if got := match(tt.pattern, tt.name); got != tt.want {
			t.Errorf("match(%.20q, %.20q) = %t", tt.pattern, tt.name, got)
		}
	}
}

func TestFlowAcrossTheWrap(t *testing.T) {
	f := flow{sent: math.MaxUint32 - 1, got: math.MaxUint32 - 1, limit: mostUnconfirmed}
	now := time.Now()
	var last uint32
	for range 4 {
		if !f.room() {
			t.Fatal("no room")
		}
		last = f.number(now)
	}
	if f.room() || last != 2 {
		t.Fatalf("room %t after four frames, the last of which is %d", f.room(), last)
	}
	for _, n := range []uint32{math.MaxUint32, 1, 1, 0, 2} {
		if _, err := f.confirm(n, now); err != nil {
			t.Errorf("confirm %d: %v", n, err)
		}
	}
	if _, err := f.confirm(3, now); !errors.Is(err, errNotSent) {
		t.Errorf("confirm 3: %v, want errNotSent", err)
	}
}
