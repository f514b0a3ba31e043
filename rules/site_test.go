package rules_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/rules"
)

// cluster is a plan with one site of n channels of one source.
func cluster(n int, us []float64, rs ...rules.Rule) *rules.Plan {
	site := rules.Site{ID: "ankle"}
	for i := range n {
		site.Channels = append(site.Channels, rules.Channel{Index: i})
	}
	return &rules.Plan{
		Sources: []rules.Source{{ID: "a/leg", Channels: n, StaleAfter: 3 * time.Second, Calibrated: true, U: us}},
		Places:  []rules.Place{{ID: "bench-1", Kind: rules.Wrap, Sites: []rules.Site{site}}},
		Rules:   rs,
	}
}

func repeat(v float64, n int) []float64 { return slices.Repeat([]float64{v}, n) }

// sure gives a scan with its uncertainties.
func (s *story) sure(at time.Duration, values, us, shared []float64, beyond ...int) {
	scan := sample.Scan{At: sample.Instant(at), Arrived: sample.Instant(at), Values: values, U: us, Shared: shared, Extrapolated: make([]bool, len(values))}
	for _, i := range beyond {
		scan.Extrapolated[i] = true
	}
	s.Scan(&scan)
}

// Averaging n sensors with a correlation rho between any two: u = s sqrt((1 +
// (n-1) rho)/n), which follows from JCGM 100:2008, 5.2.2. A shared part is
// rho = shared²/s². For s = 3 and n = 3: rho 0 gives 1.73205, rho 0.5 2.44949.
func TestAveragingLeavesTheSharedPartWhole(t *testing.T) {
	for _, c := range []struct {
		n      int
		rho, u float64
	}{{3, 0, 1.73205}, {3, 0.5, 2.44949}, {3, 1, 3}, {4, 0, 1.5}, {1, 0.5, 3}} {
		const s = 3
		own, shared := s*math.Sqrt(1-c.rho), s*math.Sqrt(c.rho)
		story := newStory(t, cluster(c.n, nil))
		story.sure(0, repeat(40, c.n), repeat(own, c.n), repeat(shared, c.n))
		got := story.signal(t, "ankle.pressure")
		if math.Abs(got.U-c.u) > 5e-6 || math.Abs(got.Shared-shared) > 1e-12 {
			t.Errorf("%d sensors with a correlation of %v: u %v with %v shared, want %v with %v", c.n, c.rho, got.U, got.Shared, c.u, shared)
		}
	}
}

// A budget of five parts (JCGM 100:2008, 4.3.7, F.2.2): cuff ±3 mmHg rectangular,
// hysteresis 2.8, resolution 0.5, repeatability 1.5, drift ±2 rectangular make
// 2.69397 mmHg, 5.38795 with k = 2. Of four such sensors on one cuff the mean has
// the cuff's part whole and the others' halved.
func TestAveragingABudget(t *testing.T) {
	cuff := 3 / math.Sqrt(3)
	own := math.Sqrt(math.Pow(2.8/math.Sqrt(12), 2) + math.Pow(0.5/math.Sqrt(12), 2) + 1.5*1.5 + 4.0/3)
	one := newStory(t, cluster(1, nil))
	one.sure(0, []float64{40}, []float64{own}, []float64{cuff})
	if got := one.signal(t, "ankle.pressure").U; math.Abs(got-2.69397) > 5e-6 || math.Abs(2*got-5.38795) > 1e-5 {
		t.Errorf("one sensor: %v", got)
	}
	four := newStory(t, cluster(4, nil))
	four.sure(0, repeat(40, 4), repeat(own, 4), repeat(cuff, 4))
	if got, want := four.signal(t, "ankle.pressure").U, math.Sqrt(own*own/4+cuff*cuff); math.Abs(got-want) > 1e-12 {
		t.Errorf("four sensors: %v, want %v", got, want)
	}
}

func TestAMemberThatDisagreesIsDroppedAndComesBack(t *testing.T) {
	s := newStory(t, cluster(4, repeat(2, 4), above("ankle.pressure", 45, 0)))
	at := func(to, every float64, values ...float64) {
		for now := s.LastScan(0).Time().UnixMilli(); ; now += int64(1000 * every) {
			if s.LastScan(0) == sample.Past {
				now = 0
			} else if now == s.LastScan(0).Time().UnixMilli() {
				continue
			}
			if float64(now) > 1000*to {
				return
			}
			s.scan(0, time.Duration(now)*time.Millisecond, values...)
		}
	}
	is := func(value float64, known, dropped int) {
		t.Helper()
		if g := s.signal(t, "ankle.pressure"); math.Abs(g.Value-value) > 1e-9 || g.Known != known || g.Dropped != dropped {
			t.Fatalf("%v of %d with %d dropped, want %v of %d with %d", g.Value, g.Known, g.Dropped, value, known, dropped)
		}
	}
	at(10, 1, 40, 41, 42, 41)
	is(41, 4, 0)
	at(40, 1, 40, 80, 42, 41) // since 11 s
	is(50.75, 4, 0)
	at(41, 1, 40, 80, 42, 41)
	is(41, 3, 1) // for 30 s, at 41 exactly
	s.expect(t, "11s raised bench-1~tight~ankle", "41s cleared bench-1~tight~ankle")
	at(50, 1, 40, 41, 42, 41) // it agrees from 42 s on
	at(101, 1, 40, 41, 42, 41)
	is(41, 3, 1)
	at(102, 1, 40, 41, 42, 41)
	is(41, 4, 0)
}

// The instant is exact, also where readings are far apart and the daemon has to
// come by itself.
func TestAMemberIsDroppedBetweenReadings(t *testing.T) {
	plan := cluster(3, repeat(1, 3), above("ankle.pressure", 45, 0))
	plan.Sources[0].StaleAfter = 25 * time.Second
	s := newStory(t, plan)
	s.scan(0, 0, 40, 40, 70)
	s.scan(0, 20*time.Second, 40, 40, 70)
	if due := s.Next(); due < sample.Instant(30*time.Second) || due > sample.Instant(30*time.Second+250*time.Millisecond) {
		t.Errorf("the engine wants to be called at %v, a member goes at 30 s", time.Duration(due))
	}
	s.Tick(s.Next())
	s.expect(t, "0s raised bench-1~tight~ankle", "30s cleared bench-1~tight~ankle")
}

// With two of each kind nobody can tell who is right, and an uncertainty that is
// not known says nothing.
func TestNobodyIsDroppedWhereNobodyCanTell(t *testing.T) {
	for _, c := range []struct {
		us, values []float64
	}{
		{repeat(2, 4), []float64{20, 20, 120, 120}},
		{repeat(2, 2), []float64{20, 120}},
		{repeat(math.NaN(), 3), []float64{20, 20, 120}},
		{nil, []float64{20, 20, 120}},
		{repeat(2, 3), []float64{20, math.NaN(), 120}},
	} {
		s := newStory(t, cluster(len(c.values), c.us))
		for i := range 120 {
			s.scan(0, time.Duration(i)*time.Second, c.values...)
		}
		if g := s.signal(t, "ankle.pressure"); g.Dropped != 0 {
			t.Errorf("%v with %v: %d were dropped", c.values, c.us, g.Dropped)
		}
	}
}

// doubts is the rule for members that disagree in the slow way: every second,
// every member against a median that is looked for.
type doubts struct {
	differed, agreed []int // seconds
	dropped          []bool
}

func (d *doubts) second(values []float64, u float64) {
	n := len(values)
	if d.dropped == nil {
		d.differed, d.agreed, d.dropped = make([]int, n), make([]int, n), make([]bool, n)
	}
	aside := slices.Clone(d.dropped)
	far := func(i int) bool { return d.excess(i, values, u, aside) > 1 }
	for {
		worst := -1
		for i := range values {
			if !aside[i] && far(i) && (worst < 0 || d.excess(i, values, u, aside) > d.excess(worst, values, u, aside)) {
				worst = i
			}
		}
		if worst < 0 {
			break
		}
		aside[worst] = true
	}
	count := 0
	for _, a := range aside {
		if a {
			count++
		}
	}
	for i := range values {
		switch {
		case d.dropped[i] && len(d.others(i, values, aside)) < 2:
		case d.dropped[i] && !far(i):
			d.agreed[i]++
		case d.dropped[i]:
			d.agreed[i] = 0
		case 2*count >= n:
		case aside[i]:
			d.differed[i]++
		default:
			if len(d.others(i, values, aside)) >= 2 {
				d.differed[i] = 0
			}
		}
	}
	for i := range values {
		switch {
		case !d.dropped[i] && d.differed[i] == 30:
			d.dropped[i], d.differed[i], d.agreed[i] = true, 0, 0
		case d.dropped[i] && d.agreed[i] == 60:
			d.dropped[i], d.differed[i], d.agreed[i] = false, 0, 0
		}
	}
}

func (d *doubts) others(i int, values []float64, aside []bool) (out []float64) {
	for k, v := range values {
		if k != i && !aside[k] {
			out = append(out, v)
		}
	}
	return out
}

func (d *doubts) excess(i int, values []float64, u float64, aside []bool) float64 {
	others := d.others(i, values, aside)
	n := len(others)
	if n < 2 {
		return 0
	}
	median := math.NaN()
	for _, a := range others { // the middle of those two that have as many below as above
		for _, b := range others {
			below, above := 0, 0
			for _, v := range others {
				if v < min(a, b) {
					below++
				}
				if v > max(a, b) {
					above++
				}
			}
			if below <= (n-1)/2 && above <= (n-1)/2 && n%2 == 1 && a == b || n%2 == 0 && below <= n/2-1 && above <= n/2-1 && (a != b || math.IsNaN(median)) {
				median = (a + b) / 2
			}
		}
	}
	um := u * u / float64(n)
	if n > 2 {
		um *= math.Pi / 2
	}
	return math.Abs(values[i]-median) / (3 * math.Sqrt(u*u+um))
}

func TestDisagreementAgainstASlowCount(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 5).Draw(t, "members")
		const u = 2.0
		s := &story{plan: cluster(n, repeat(u, n))}
		s.Engine = rules.NewEngine(s.plan, s)
		slow := &doubts{}
		var now time.Duration
		for range rapid.IntRange(1, 6).Draw(t, "stretches") {
			values := make([]float64, n)
			for i := range values {
				values[i] = 40 + float64(i)/8
				if rapid.IntRange(0, 3).Draw(t, "off") == 0 {
					values[i] += float64(20 + 11*i)
				}
			}
			if rapid.Bool().Draw(t, "restart") {
				kept := s.SnapshotPlace(0, nil)
				s.Engine = rules.NewEngine(s.plan, s)
				if err := s.RestorePlace(0, kept); err != nil {
					t.Fatal(err)
				}
			}
			for range rapid.IntRange(5, 90).Draw(t, "seconds") {
				s.scan(0, now, values...)
				got := s.Signals(0)[0]
				want := 0
				for _, d := range slow.dropped {
					if d {
						want++
					}
				}
				if got.Dropped != want {
					t.Fatalf("at %v with %v: %d dropped, the slow count says %v", now, values, got.Dropped, slow)
				}
				slow.second(values, u) // which the values last
				now += time.Second
			}
		}
	})
}

func TestAnAlertSaysHowSureAndThatItIsExtrapolated(t *testing.T) {
	r := above("ankle.pressure", 60, 0)
	r.Certainty = 0.95
	s := newStory(t, cluster(2, nil, r))
	s.sure(0, []float64{64, 64}, repeat(3, 2), repeat(2, 2))
	s.expect(t)
	s.sure(time.Second, []float64{66, 66}, repeat(3, 2), repeat(2, 2), 1)
	s.expect(t, "1s raised bench-1~tight~ankle")
	want := "ankle above 60 mmHg (at least 95 % sure): 66 ± 3 mmHg when raised. The value is extrapolated: it lies outside of what was calibrated"
	if got := s.texts[len(s.texts)-1]; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if g := s.signal(t, "ankle.pressure"); !g.Extrapolated {
		t.Error("the signal is not marked as extrapolated")
	}
	r.Certainty = 0.05
	s = newStory(t, cluster(2, nil, r))
	s.sure(0, []float64{56, 56}, repeat(3, 2), repeat(2, 2))
	if s.says(t, "ankle above 60 mmHg (a chance of at least 5 %)"); len(s.lines) != 1 {
		t.Errorf("56 ± 3 cannot be excluded: %v", s.lines)
	}
}

func TestCellsAreJudgedWithTheirOwnUncertainty(t *testing.T) {
	r := above("mat.pressure", 60, 0)
	r.Certainty = 0.95
	s := newStory(t, bed(1, 4, r))
	us := []float64{1, 9, math.NaN(), 1}
	s.sure(0, []float64{63, 63, 50, 50}, us, repeat(0, 4), 0)
	if len(s.lines) != 1 || !strings.Contains(s.texts[0], "column 1") || !strings.Contains(s.texts[0], "extrapolated") {
		t.Errorf("only the first cell is surely above: %v %v", s.lines, s.texts)
	}
}

// Graduation with certainty: 20 at the ankle and 18 at the calf miss a drop of
// 5 mmHg by 3. The difference has sqrt(2)·u of the independent parts and nothing
// of the shared one: 3/(1.5·sqrt 2) = 1.414 uncertainties are 92.1 %.
func TestGraduationWithCertainty(t *testing.T) {
	for _, c := range []struct {
		certainty float64
		raised    bool
	}{{0.92, true}, {0.93, false}} {
		plan := leg(rules.Rule{ID: "grade", Graduation: &rules.Graduation{Drop: 5}, While: "ankle.pressure > 0", ForgetAfter: time.Minute, Priority: 1, Certainty: c.certainty})
		s := newStory(t, plan)
		n := plan.Sources[0].Channels
		values := repeat(18, n)
		values[0] = 20
		s.sure(0, values, repeat(1.5, n), repeat(7, n))
		raised := strings.Contains(fmt.Sprint(s.lines), "raised")
		if raised != c.raised {
			t.Errorf("with a certainty of %v: %v", c.certainty, s.lines)
		}
	}
}
