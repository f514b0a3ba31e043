package exposure_test

import (
	"errors"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/near"
	"weald/rules/exposure"
	"weald/rules/state"
)

// all is every model there is: the published ones, a site's table, and each with its
// rates tabulated.
func all(t testing.TB) (out []*exposure.Model) {
	own, err := exposure.Table([]exposure.Point{{40, 4 * time.Hour}, {80, 2 * time.Hour}, {160, 30 * time.Minute}})
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range []*exposure.Model{published(t, exposure.LinderGanz), published(t, exposure.ReswickRogers), own} {
		out = append(out, m, m.Tabulated())
	}
	return out
}

// More pressure never uses less of the tolerance and is never tolerated for longer; a
// time is never less than none; and a pressure is below, then within, then above the data.
func TestMorePressureIsNotBetter(t *testing.T) {
	for _, m := range all(t) {
		around := []float64{math.Inf(-1), -5, 0, math.Nextafter(m.Lowest, 0), m.Lowest, math.Nextafter(m.Lowest, 1e3)}
		for p := m.Lowest + 0.01; p < m.Highest; p += 0.173 {
			around = append(around, p)
		}
		around = append(around, math.Nextafter(m.Highest, 0), m.Highest, math.Nextafter(m.Highest, 1e3), m.Highest+1, 1e6, math.MaxFloat64, math.Inf(1))
		rate, last, side := 0.0, time.Duration(math.MaxInt64), exposure.Below
		for _, p := range around {
			r := m.Rate(p)
			in, where := m.Tolerated(p)
			if !(r >= rate*(1-1e-9)) || math.IsInf(r, 0) {
				t.Fatalf("%s: %v 1/s at %v mmHg, after %v", m.Name, r, p, rate)
			}
			if where < side || in < 0 || where != exposure.Below && in > last {
				t.Fatalf("%s: %v mmHg is %v with %v, after %v with %v", m.Name, p, where, in, side, last)
			}
			if (r == 0) != (where == exposure.Below) {
				t.Fatalf("%s: %v mmHg is %v and uses %v", m.Name, p, where, r)
			}
			if rate, side = r, where; where != exposure.Below {
				last = in
			}
		}
		if shortest := 1 / m.Shortest.Seconds(); math.Abs(rate-shortest) > 1e-15 {
			t.Errorf("%s: beyond the data %v, want %v", m.Name, rate, shortest)
		}
	}
}

// The inverse relation of pressure and time that Kosiak found (Arch Phys Med Rehabil
// 1959;40:62-69, from memory) is a straight line in logarithms: a table with two of its
// points has them all. The constant, 120 mmHg for 1 h, is invented.
func TestAHyperbolaAsATable(t *testing.T) {
	m, err := exposure.Table([]exposure.Point{{30, 4 * time.Hour}, {240, 30 * time.Minute}})
	if err != nil {
		t.Fatal(err)
	}
	for p := 30.0; p <= 240; p += 7 {
		got, _ := m.Tolerated(p)
		near.To(t, "mmHg × h", p*got.Hours(), 120, 1e-6)
		near.To(t, "rate", m.Rate(p)*3600, p/120, 1e-9)
	}
}

// Used tolerance only adds up: in what order loads come does not matter where nothing
// recovers in between, and a table of half the times is used twice as fast.
func TestLoadsAddUp(t *testing.T) {
	models := all(t)
	rapid.Check(t, func(t *rapid.T) {
		s := exposure.Spec{Model: rapid.SampledFrom(models).Draw(t, "model"), Floor: 30, Recovery: exposure.Never, ForgetAfter: time.Hour}
		var there, back exposure.Dose
		n := rapid.IntRange(1, 8).Draw(t, "n")
		loads := rapid.SliceOfN(rapid.OneOf(rapid.Float64Range(0, 300), rapid.Just(math.NaN())), n, n).Draw(t, "loads")
		want := 0.0
		for i := range loads {
			there.Advance(&s, time.Minute, loads[i])
			back.Advance(&s, time.Minute, loads[n-1-i])
			if loads[i] > 30 {
				want += 60 * s.Model.Rate(loads[i])
			}
		}
		near.To(t, "one way", there.Used, want, 1e-12)
		near.To(t, "the other way", back.Used, want, 1e-12)
	})
	slow, _ := exposure.Table([]exposure.Point{{40, 4 * time.Hour}, {80, 2 * time.Hour}})
	fast, _ := exposure.Table([]exposure.Point{{40, 2 * time.Hour}, {80, time.Hour}})
	for _, p := range []float64{40, 55, 80, 200} {
		near.To(t, "half the time", fast.Rate(p), 2*slow.Rate(p), 1e-15)
	}
}

// Relief to the nanosecond: for resets_after nothing is given back, from then on it decays
// with the time constant, to 1/e after one and to a half after ln 2 of it; and a load of a
// nanosecond begins the wait anew.
func TestReliefToTheNanosecond(t *testing.T) {
	s := exposure.Spec{Model: published(t, exposure.LinderGanz), Floor: 30, ResetsAfter: 2 * time.Minute, Recovery: 30 * time.Minute, ForgetAfter: time.Hour}
	d := exposure.Dose{Used: 0.8}
	d.Advance(&s, 2*time.Minute, 30) // on the floor, not above it
	near.To(t, "when the wait is over", d.Used, 0.8, 0)
	d.Advance(&s, 30*time.Minute, 0)
	near.To(t, "after a time constant", d.Used, 0.8/math.E, 1e-12)
	d.Advance(&s, time.Duration(math.Round(math.Ln2*1.8e12)), -3)
	near.To(t, "half of that", d.Used, 0.4/math.E, 1e-9)
	d.Advance(&s, time.Nanosecond, 100)
	was := d.Used
	d.Advance(&s, 2*time.Minute, 0)
	near.To(t, "after a touch", d.Used, was, 0)
	s.Recovery = 0
	d.Advance(&s, time.Nanosecond, 0)
	near.To(t, "at once", d.Used, 0, 0)

	s.Recovery = exposure.Never
	d = exposure.Dose{Used: 0.8}
	d.Advance(&s, math.MaxInt64, 0)
	near.To(t, "never", d.Used, 0.8, 0)
}

// One unbroken silence of forget_after forgets, a nanosecond less does not, and a value
// that lasts no longer than a nanosecond breaks it.
func TestSilenceToTheNanosecond(t *testing.T) {
	s := exposure.Spec{Model: published(t, exposure.LinderGanz), Floor: 30, Recovery: time.Hour, ForgetAfter: 10 * time.Minute}
	d := exposure.Dose{Used: 0.8}
	d.Advance(&s, 10*time.Minute-1, math.NaN())
	near.To(t, "a nanosecond short", d.Used, 0.8, 0)
	d.Advance(&s, 0, 100)
	d.Advance(&s, 1, math.NaN())
	near.To(t, "a value that lasted no time", d.Used, 0, 0)
	d = exposure.Dose{Used: 0.8}
	for range 3 {
		d.Advance(&s, 10*time.Minute-1, math.NaN())
		d.Advance(&s, 1, 60)
	}
	near.To(t, "broken three times", d.Used, 0.8, 1e-9)
}

// A dose stays between nothing and a number, whatever presses for however long; and what
// is written and read at any instant goes on as what was not.
func TestAnyStory(t *testing.T) {
	models := all(t)
	rapid.Check(t, func(t *rapid.T) {
		s := exposure.Spec{
			Model: rapid.SampledFrom(models).Draw(t, "model"), Floor: 30, ResetsAfter: time.Minute,
			Recovery: rapid.SampledFrom([]time.Duration{0, time.Hour, exposure.Never}).Draw(t, "recovery"), ForgetAfter: time.Hour,
		}
		var whole, cut exposure.Dose
		for range rapid.IntRange(1, 12).Draw(t, "spans") {
			p := rapid.SampledFrom([]float64{math.Inf(-1), -4, 0, 30, 31, 64, 100, 240, 1e9, math.Inf(1), math.NaN()}).Draw(t, "pressure")
			span := rapid.SampledFrom([]time.Duration{0, 1, time.Second, time.Minute, 5 * time.Hour, math.MaxInt64}).Draw(t, "span")
			whole.Advance(&s, span, p)
			var read exposure.Dose
			b := state.Append(nil, &cut)
			if rest, err := state.Read(b, &read); err != nil || len(rest) != 0 || read != cut {
				t.Fatalf("%+v became %+v, %v", cut, read, err)
			}
			if _, err := state.Read(b[:rapid.IntRange(0, len(b)-1).Draw(t, "cut")], &read); !errors.Is(err, state.ErrSnapshot) {
				t.Fatalf("a part is taken: %v", err)
			}
			if cut.Advance(&s, span, p); cut != whole {
				t.Fatalf("%+v, read again %+v", whole, cut)
			}
			if !(whole.Used >= 0) || math.IsInf(whole.Used, 0) || whole.Unloaded < 0 || whole.Silent < 0 {
				t.Fatalf("after %v of %v mmHg: %+v", span, p, whole)
			}
			if s.Beyond(p) != (p > s.Model.Highest || p > 30 && shorter(s.Model, p)) {
				t.Fatalf("%v mmHg beyond %s: %v", p, s.Model.Name, s.Beyond(p))
			}
		}
	})
}

// shorter says that the model has a shorter time for a pressure than any in its data.
func shorter(m *exposure.Model, p float64) bool {
	in, where := m.Tolerated(p)
	return where != exposure.Below && in < m.Shortest-time.Microsecond
}

// Thousands of cells are judged ten times a second: none of it allocates.
func TestDosesAllocateNothing(t *testing.T) {
	for _, m := range all(t) {
		s := exposure.Spec{Model: m, Floor: 30, ResetsAfter: time.Minute, Recovery: time.Hour, ForgetAfter: time.Hour}
		var d exposure.Dose
		p := 0.0
		if n := testing.AllocsPerRun(100, func() {
			p = math.Mod(p+17, 250)
			d.Advance(&s, time.Second, p)
			d.Until(&s, 0.5, p)
		}); n != 0 {
			t.Errorf("%s: %v allocations", m.Name, n)
		}
	}
}

// What alone will never come to pass is not waited for: more load once a share is reached, a
// pressure below the data, one nobody knows, relief of who has not reached it, of nothing,
// or of who never recovers. What will is waited for to the nanosecond: on the floor as below
// it, and at once where recovery is at once.
func TestUntilAtItsEdges(t *testing.T) {
	m := published(t, exposure.LinderGanz)
	usual := exposure.Spec{Model: m, Floor: 30, ResetsAfter: 2 * time.Minute, Recovery: time.Hour, ForgetAfter: time.Hour}
	atOnce, never := usual, usual
	atOnce.Recovery, never.Recovery = 0, exposure.Never
	tolerated, _ := m.Tolerated(100)
	full, rested := exposure.Dose{Used: 1}, exposure.Dose{Used: 1, Unloaded: 3 * time.Minute}
	for name, c := range map[string]struct {
		spec     exposure.Spec
		dose     exposure.Dose
		share, p float64
		in       time.Duration // 0 for never
	}{
		"reached, and loaded":           {usual, full, 0.5, 100, 0},
		"a pressure below the data":     {usual, exposure.Dose{}, 0.5, 40, 0},
		"a pressure nobody knows":       {usual, full, 0.5, math.NaN(), 0},
		"relief of who has not reached": {usual, exposure.Dose{Used: 0.4}, 0.5, 0, 0},
		"relief of a share of nothing":  {usual, full, 0, 0, 0},
		"who never recovers":            {never, full, 0.5, 0, 0},
		"load":                          {usual, exposure.Dose{Used: 0.5}, 1, 100, tolerated / 2},
		"on the floor":                  {usual, full, 0.5, 30, 2*time.Minute + time.Duration(math.Round(math.Ln2*3.6e12))},
		"rested already":                {usual, rested, 0.5, 0, time.Duration(math.Round(math.Ln2 * 3.6e12))},
		"recovery at once":              {atOnce, full, 0.5, 0, 2 * time.Minute},
		"and rested already":            {atOnce, rested, 0.5, 0, 1},
	} {
		in, ok := c.dose.Until(&c.spec, c.share, c.p)
		if ok != (c.in > 0) || (in-c.in).Abs() > 20*time.Microsecond {
			t.Errorf("%s: in %v, %v; want %v", name, in, ok, c.in)
		}
		before := c.dose.Reached(c.share)
		if c.dose.Advance(&c.spec, in, c.p); c.dose.Reached(c.share) == before && ok {
			t.Errorf("%s: after %v nothing has changed", name, in)
		}
	}
}

// However long a silence, it only grows, and stops at the longest time there is.
func TestSilenceOnlyGrows(t *testing.T) {
	s := exposure.Spec{Model: published(t, exposure.LinderGanz), ForgetAfter: math.MaxInt64}
	var d exposure.Dose
	for _, want := range []time.Duration{math.MaxInt64 - 5, math.MaxInt64, math.MaxInt64} {
		if d.Advance(&s, math.MaxInt64-5, math.NaN()); d.Silent != want {
			t.Errorf("a silence of %d ns, want %d", d.Silent, want)
		}
	}
}
