package pipeline

import (
	"math"
	"testing"
	"testing/synctest"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/hostclock"
	"weald/stream/view"
)

// look asks for the view of the first place, and whether its ankle is current.
func look(t *testing.T, p *Pipeline) (v view.Place, current, arriving bool) {
	t.Helper()
	err := p.Do(t.Context(), func(s *State) {
		v, current, arriving = s.Place(0), s.Current(0, &s.Signals(0)[0]), s.Arriving(0)
	})
	if err != nil {
		t.Fatal(err)
	}
	return v, current, arriving
}

// feed puts a scan a second, n of them, each as much older than its arrival as
// delay says.
func feed(t *testing.T, p *Pipeline, clock Clock, n int, delay time.Duration, values ...float64) {
	t.Helper()
	for range n {
		if err := p.Put(t.Context(), scan(clock, delay, values...)); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Second)
	}
	synctest.Wait()
}

// A place whose event time has run ahead of all readings that follow, or stands
// still for any other reason, must not be called quiet, nor show the value that
// it had.
func TestPlaceWhoseTimeStandsStillIsUnknown(t *testing.T) {
	const year = 365 * 24 * time.Hour
	for name, disturb := range map[string]func(t *testing.T, p *Pipeline, clock Clock){
		"one row from the future": func(t *testing.T, p *Pipeline, clock Clock) {
			feed(t, p, clock, 1, -10*year, 30, 30)
			feed(t, p, clock, 20, 0, 90, 30)
		},
		"a clock set back": func(t *testing.T, p *Pipeline, clock Clock) {
			feed(t, p, clock, 120, time.Hour, 90, 30)
		},
		"rows that all have one time": func(t *testing.T, p *Pipeline, clock Clock) {
			at := clock.Now()
			for range 120 {
				feed(t, p, clock, 1, clock.Now().Sub(at), 90, 30)
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				clock := hostclock.New(1)
				p := start(t, wrapPlan(time.Hour), Options{Clock: clock})
				feed(t, p, clock, 5, 0, 30, 30)
				if v, current, _ := look(t, p); v.State != view.StateQuiet || !current {
					t.Fatalf("before: %s, current %t", v.State, current)
				}
				disturb(t, p, clock)
				v, current, arriving := look(t, p)
				if v.State != view.StateUnknown || v.Signals["ankle.pressure"].Value != nil || current || !arriving {
					t.Errorf("%s with an ankle of %v, current %t, arriving %t; want it unknown", v.State, v.Signals["ankle.pressure"], current, arriving)
				}
				if v.Text != view.NoneNewer {
					t.Errorf("it says %q, want %q", v.Text, view.NoneNewer)
				}
				time.Sleep(time.Minute)
				if v, _, arriving := look(t, p); v.Text == view.NoneNewer || arriving {
					t.Errorf("a minute after the last reading it still says %q", v.Text)
				}
			})
		})
	}
}

func TestPlaceIsKnownAgainOnceItsTimeMoves(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		clock := hostclock.New(1)
		p := start(t, wrapPlan(time.Hour), Options{Clock: clock})
		feed(t, p, clock, 1, -20*time.Second, 30, 30)
		feed(t, p, clock, 15, 0, 41, 30)
		if v, current, _ := look(t, p); v.State != view.StateUnknown || current {
			t.Errorf("within the 20 s by which a row was ahead: %s, current %t", v.State, current)
		}
		feed(t, p, clock, 60, 0, 41, 30)
		if v, current, _ := look(t, p); v.State != view.StateQuiet || !current || *v.Signals["ankle.pressure"].Value != 41 {
			t.Errorf("after them: %s, current %t", v.State, current)
		}
	})
}

// A raised alert of such a place stands, and says that its signal is not known,
// of which the engine hears nothing for as long as its values seem to last.
func TestAlertOfAPlaceWhoseTimeStandsStill(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		clock := hostclock.New(1)
		plan := wrapPlan(0)
		plan.Sources[0].StaleAfter = 10 * time.Minute
		p := start(t, plan, Options{Clock: clock})
		feed(t, p, clock, 1, -24*time.Hour, 70, 30)
		known := func() bool {
			var alerts []view.Alert
			if err := p.Do(t.Context(), func(s *State) { alerts = s.Alerts() }); err != nil {
				t.Fatal(err)
			}
			if len(alerts) != 1 || alerts[0].State != string(alert.Unacknowledged) {
				t.Fatalf("alerts %+v, want one that stands", alerts)
			}
			return alerts[0].SignalKnown
		}
		feed(t, p, clock, 500, 0, 70, 30)
		if !known() {
			t.Error("while its value lasts the signal is known")
		}
		feed(t, p, clock, 120, 0, 70, 30)
		if known() {
			t.Error("the signal is still known after no scan has been judged for longer than a value lasts")
		}
	})
}

// An engine that was taken up from a former run may be ahead of everything that
// comes now.
func TestEngineThatIsAheadFromTheBeginning(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		clock := hostclock.New(1)
		plan := wrapPlan(time.Hour)
		var later lateSink
		engine := rules.NewEngine(plan, &later)
		engine.Scan(scan(clock, -time.Hour, 30, 30))
		p := start(t, plan, Options{Clock: clock, Judge: func(_ *rules.Plan, s rules.Sink) Judge { later.Sink = s; return engine }})
		feed(t, p, clock, 10, 0, 90, 30)
		if v, current, _ := look(t, p); v.State != view.StateUnknown || current || v.Text != view.NoneNewer {
			t.Errorf("%s, current %t, %q", v.State, current, v.Text)
		}
	})
}

// A lateSink says nothing until it is given a Sink.
type lateSink struct{ rules.Sink }

func (l *lateSink) Updated(place int, at sample.Instant) {
	if l.Sink != nil {
		l.Sink.Updated(place, at)
	}
}

func TestSourceWithoutASingleValueIsBlank(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		clock, nan := hostclock.New(1), math.NaN()
		p := start(t, wrapPlan(time.Hour), Options{Clock: clock})
		blank := func(want bool, when string) {
			t.Helper()
			var got bool
			if err := p.Do(t.Context(), func(s *State) { got = s.Blank(0) }); err != nil {
				t.Fatal(err)
			}
			if got != want {
				t.Errorf("%s: blank %t, want %t", when, got, want)
			}
		}
		blank(false, "before the first scan")
		feed(t, p, clock, 3, 0, nan, nan)
		blank(true, "with unknown values alone")
		feed(t, p, clock, 3, 0, nan, 22)
		blank(false, "with a value")
		feed(t, p, clock, 3, 0, nan, nan)
		blank(false, "for as long as the value lasts")
		feed(t, p, clock, 5, 0, nan, nan)
		blank(true, "after that")
		time.Sleep(time.Minute)
		blank(false, "in silence, which is another matter")
	})
}
