package ingest

import (
	"context"
	"io"
	"math"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"weald/ingest/frame"
	"weald/ingest/sample"
)

// A radio is a link that takes its time to connect, and knows the level of the
// battery at the other end.
type radio struct {
	fakeLink
	takes time.Duration
	level atomic.Int32 // percent, -1 not known
}

func newRadio(takes time.Duration) *radio {
	r := &radio{takes: takes}
	r.level.Store(-1)
	return r
}

func (r *radio) Open(ctx context.Context) (io.ReadCloser, error) {
	select {
	case <-time.After(r.takes):
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
	c, err := r.fakeLink.Open(ctx)
	return radioConn{c.(*fakeConn), r}, err
}

type radioConn struct {
	*fakeConn
	radio *radio
}

func (c radioConn) Battery() (int, bool) { p := int(c.radio.level.Load()); return p, p >= 0 }

// onAir runs f with a supervised radio in virtual time.
func onAir(t *testing.T, r *radio, f func(sup *Supervisor, send func(*frame.Frame))) {
	synctest.Test(t, func(t *testing.T) {
		r.whole = true
		sup, err := New(packed(r), Options{Now: func() sample.Instant { return sample.At(time.Now()) }, Out: func(*sample.Scan) {}})
		if err != nil {
			t.Fatal(err)
		}
		cancel, ended := running(t, sup)
		f(sup, func(fr *frame.Frame) {
			t.Helper()
			p, err := frame.AppendPacked(nil, fr, frame.U12)
			if err != nil {
				t.Fatal(err)
			}
			r.send(p)
			time.Sleep(time.Second)
			synctest.Wait()
		})
		cancel()
		ended()
	})
}

// A link that waits for the bridge to call is not silent about it.
func TestABridgeThatNeverCallsIsSaid(t *testing.T) {
	onAir(t, newRadio(time.Minute), func(sup *Supervisor, send func(*frame.Frame)) {
		time.Sleep(4 * time.Second)
		if s := sup.Status(); s.State != Connecting || s.Trouble != "" {
			t.Errorf("after 4 s: %s, %q", s.State, s.Trouble)
		}
		time.Sleep(3 * time.Second)
		s := sup.Status()
		if !strings.HasPrefix(s.Trouble, "still no connection after 7s") || s.TroubleSince != s.Since.Add(5*time.Second) {
			t.Errorf("after 7 s: %q since %v after the begin", s.Trouble, s.TroubleSince.Sub(s.Since))
		}
		time.Sleep(54 * time.Second)
		synctest.Wait()
		send(&frame.Frame{Kind: frame.Readings, Readings: []float64{1, 2}})
		if s := sup.Status(); s.State != Open || s.Trouble != "" {
			t.Errorf("once connected: %s, %q", s.State, s.Trouble)
		}
	})
}

// What the link knows of the battery counts for every source that does not say
// so itself.
func TestTheLinksBatteryIsTheSources(t *testing.T) {
	r := newRadio(0)
	onAir(t, r, func(sup *Supervisor, send func(*frame.Frame)) {
		pass := func() { time.Sleep(time.Second); synctest.Wait() }
		pass()
		if s := sup.Status().Sources[0]; s.HealthAt != sample.Past {
			t.Errorf("health without anybody who knows: %+v", s.Health)
		}
		r.level.Store(81)
		pass()
		for _, s := range sup.Status().Sources {
			if h := s.Health; h.BatteryPercent != 81 || h.BatteryMV != -1 || h.Celsius != frame.NoCelsius || s.HealthAt == sample.Past {
				t.Errorf("%s: %+v, want 81 %% and nothing else", s.ID, h)
			}
		}
		// Firmware that knows its version and not its battery.
		send(&frame.Frame{Kind: frame.Status, Source: 1, Health: frame.Health{BatteryMV: -1, BatteryPercent: -1, Celsius: 31, Firmware: "larch 2"}})
		if h := sup.Status().Sources[1].Health; h.BatteryPercent != 81 || h.Celsius != 31 || h.Firmware != "larch 2" {
			t.Errorf("%+v, want the link's level and the rest from the status", h)
		}
		// Firmware that knows its battery.
		send(&frame.Frame{Kind: frame.Status, Source: 1, Seq: 1, Millis: 1000, Health: frame.Health{BatteryMV: 3700, BatteryPercent: 55, Celsius: 31}})
		r.level.Store(80)
		pass()
		s := sup.Status()
		if s.Sources[0].Health.BatteryPercent != 80 || s.Sources[1].Health.BatteryPercent != 55 {
			t.Errorf("%+v, want 80 %% from the link and 55 %% from the source itself", s.Sources)
		}
	})
}

// A link that waits to be called again does not leave what was so when it was
// lost standing: the sources are silent, and a scan whose last part did not come
// is handed on.
func TestWhatIsKnownGoesOnWhileALinkWaits(t *testing.T) {
	r := newRadio(0)
	onAir(t, r, func(sup *Supervisor, send func(*frame.Frame)) {
		for i := range uint32(20) {
			send(&frame.Frame{Kind: frame.Readings, Seq: i, Millis: 1000 * i, Readings: []float64{1, 2}})
		}
		send(&frame.Frame{Kind: frame.Readings, Seq: 20, Millis: 20_000, Readings: []float64{1}, More: true})
		if s := sup.Status().Sources[0]; math.IsNaN(s.Rate) || s.Scans == 0 {
			t.Fatalf("while it sent: %v scans/s, %d scans", s.Rate, s.Scans)
		}
		r.takes = time.Hour
		r.hangUp()
		time.Sleep(30 * time.Second)
		synctest.Wait()
		s := sup.Status()
		if src := s.Sources[0]; s.State != Connecting || !math.IsNaN(src.Rate) || src.Scans != 21 || src.Partial != 1 {
			t.Errorf("30 s after it was lost: %s, %v scans/s, %d scans, %d of them in part", s.State, src.Rate, src.Scans, src.Partial)
		}
		if s.Trouble == "" || s.TroubleSince == sample.Past {
			t.Errorf("and nothing is said: %q", s.Trouble)
		}
	})
}
