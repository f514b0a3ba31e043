package field_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules"
	"weald/rules/alert"
	"weald/rules/field"
	"weald/rules/hold"
	"weald/rules/hold/holdtest"
)

func ms(n int) sample.Instant { return sample.Instant(n) * sample.Instant(time.Millisecond) }

// traceOf writes readings as a trace.
func traceOf(readings []holdtest.Reading, s holdtest.Settings) *field.Trace {
	t := &field.Trace{End: ms(s.End)}
	value, shut := sample.Unknown, s.GateFrom <= 0 && s.GateTo > 0
	for _, b := range holdtest.Breakpoints(readings, s) {
		switch b.What {
		case "reading":
			value = b.Value
		case "stale":
			value = sample.Unknown
		case "close":
			shut = true
		case "open":
			shut = false
		}
		t.Add(ms(b.At), value)
		t.Shut = append(t.Shut, shut)
	}
	return t
}

func bandOf(s holdtest.Settings) hold.Certain {
	if s.Kind == "below" {
		return hold.Below(s.Limit, s.Deadband).At(hold.Half)
	}
	return hold.Above(s.Limit, s.Deadband).At(hold.Half)
}

// engineOf lets the engine judge readings of an ankle, while a calf says whether
// the gate is open, and returns its raises and clears.
func engineOf(readings []holdtest.Reading, s holdtest.Settings) (out raises) {
	limit := &rules.Limit{Watch: "ankle.pressure", Above: &s.Limit, Deadband: s.Deadband}
	if s.Kind == "below" {
		limit.Above, limit.Below = nil, &s.Limit
	}
	spec := s.Spec()
	plan := &rules.Plan{
		Sources: []rules.Source{
			{ID: "hub/ankle", Channels: 1, StaleAfter: spec0(s.Stale), Calibrated: true},
			{ID: "hub/calf", Channels: 1, StaleAfter: time.Hour, Calibrated: true},
		},
		Places: []rules.Place{{ID: "bench-1", Kind: rules.Wrap, Sites: []rules.Site{
			{ID: "ankle", Channels: []rules.Channel{{Source: 0}}}, {ID: "calf", Channels: []rules.Channel{{Source: 1}}},
		}}},
		Rules: []rules.Rule{{
			ID: "tight", Limit: limit, While: "calf.pressure > 10", Priority: alert.Low,
			OnDelay: spec.OnDelay, OffDelay: spec.OffDelay, ResetsAfter: spec.ResetsAfter, ForgetAfter: spec.ForgetAfter,
		}},
	}
	e := rules.NewEngine(plan, &out)
	scan := func(source, at int, v float64) {
		e.Scan(&sample.Scan{Source: source, At: ms(at), Arrived: ms(at), Values: []float64{v}})
	}
	gate := 20.0
	if s.GateFrom <= 0 && s.GateTo > 0 {
		gate = 0
	}
	scan(1, 0, gate)
	for _, b := range holdtest.Breakpoints(readings, s) {
		switch b.What {
		case "reading":
			scan(0, b.At, b.Value)
		case "close":
			gate = 0
			scan(1, b.At, gate)
		case "open":
			gate = 20
			scan(1, b.At, gate)
		}
	}
	scan(1, s.End, gate)
	e.Finish()
	return out
}

func spec0(n int) time.Duration { return time.Duration(n) * time.Millisecond }

// unsettled reports whether the gate moves at the very instant at which a value
// ends. The engine lets what another source says at that instant come in time.
func unsettled(readings []holdtest.Reading, s holdtest.Settings) bool {
	return slices.ContainsFunc(holdtest.Breakpoints(readings, s), func(b holdtest.Breakpoint) bool {
		return b.What == "stale" && s.GateFrom < s.GateTo && (b.At == s.GateFrom || b.At == s.GateTo)
	})
}

// raises are the changes that an engine told, as a happening each.
type raises struct{ list []holdtest.Happening }

func (r *raises) Alert(e alert.Event) {
	if e.What == alert.Raised || e.What == alert.Cleared {
		r.list = append(r.list, holdtest.Happening{What: string(e.What), At: int(e.At / ms(1))})
	}
}
func (*raises) Updated(int, sample.Instant) {}
func (*raises) Late(int, *sample.Scan)      {}

func (r *raises) count() (n int) {
	for _, h := range r.list {
		if h.What == "raised" {
			n++
		}
	}
	return n
}

// Every cell of a field is what the slow reference raises with that limit and that
// delay, and what the engine does; and the alerts behind a cell are its, to the
// instant.
func TestAFieldIsWhatTheEngineRaises(t *testing.T) {
	raised, again := 0, 0
	tried.Check(t, tried.All(tried.Count(&raised, 500), tried.Count(&again, 20)), func(t *rapid.T) {
		s, readings := holdtest.DrawSettings(t), holdtest.DrawReadings(t)
		readings = slices.DeleteFunc(readings, func(r holdtest.Reading) bool { return r.At > s.End })
		trace := traceOf(readings, s)
		var work field.Excursions
		for range 3 {
			s.Limit = float64(rapid.IntRange(27, 36).Draw(t, "limit"))
			var delays []time.Duration
			for at := rapid.IntRange(0, 1).Draw(t, "first"); at < 130; at += 1 + rapid.IntRange(0, 30).Draw(t, "apart") {
				delays = append(delays, spec0(at))
			}
			counts := make([]int, len(delays))
			band, spec := bandOf(s), s.Spec()
			work.Row(trace, &band, &spec, delays, counts)
			check := rapid.IntRange(0, len(delays)-1).Draw(t, "which")
			for d := range delays {
				s.On = int(delays[d] / time.Millisecond)
				want := raises{holdtest.Reference(readings, s)}
				if counts[d] != want.count() {
					t.Fatalf("settings %+v\nreadings %v\ndelay %d raises %d times, the reference says %v", s, readings, s.On, counts[d], want.list)
				}
				raised += counts[d]
				if counts[d] > 1 {
					again++
				}
				if d != check || unsettled(readings, s) {
					continue
				}
				spec := s.Spec()
				var alerts []holdtest.Happening
				for _, a := range field.Alerts(trace, &band, &spec) {
					alerts = append(alerts, holdtest.Happening{What: "raised", At: int(a.From / ms(1))})
					if !a.Stands {
						alerts = append(alerts, holdtest.Happening{What: "cleared", At: int(a.To / ms(1))})
					}
				}
				if engine := engineOf(readings, s); fmt.Sprint(engine.list) != fmt.Sprint(alerts) || engine.count() != counts[d] {
					t.Fatalf("settings %+v\nreadings %v\n%d in the field, alerts %v, the engine says %v", s, readings, counts[d], alerts, engine.list)
				}
			}
		}
	})
}
