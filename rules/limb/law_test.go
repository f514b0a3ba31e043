package limb_test

import (
	"bytes"
	"fmt"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/rules/limb"
	"weald/rules/state"
)

// fault is what the words of a Grade say: proximal at most so much of distal, and lower by
// at least so much, and at least so much of distal.
func fault(g limb.Grade, distal, proximal float64) (limb.Fault, sample.Truth) {
	switch {
	case math.IsNaN(distal) || math.IsNaN(proximal):
		return limb.Fine, sample.Maybe
	case distal < 5:
		return limb.Fine, sample.No
	}
	falls := (g.Ratio == 0 || proximal/distal <= g.Ratio+1e-10) && (g.Drop == 0 || proximal <= distal-g.Drop+1e-9)
	switch {
	case !falls && proximal > distal:
		return limb.Reversed, sample.Yes
	case !falls:
		return limb.Lost, sample.Yes
	case g.Steepest > 0 && proximal/distal < g.Steepest-1e-10:
		return limb.TooSteep, sample.Yes
	}
	return limb.Fine, sample.No
}

// Graduation against its words, on whole mmHg, so that bounds are met exactly. More above
// is never less lost, and less above never less steep; a fault is one if it has a name.
func TestGradesAgainstTheirWords(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := limb.Grade{
			Ratio: rapid.SampledFrom([]float64{0, 0.5, 0.7, 0.8, 1, 1.2}).Draw(t, "ratio"), Drop: float64(rapid.IntRange(0, 8).Draw(t, "drop")),
			Steepest: rapid.SampledFrom([]float64{0, 0.2, 0.5}).Draw(t, "steepest"),
		}
		distal, last := float64(rapid.IntRange(0, 80).Draw(t, "distal")), 0
		rank := map[limb.Fault]int{limb.TooSteep: -1, limb.Fine: 0, limb.Lost: 1, limb.Reversed: 2}
		for proximal := -5.0; proximal <= 90; proximal++ {
			got, is := g.Judge(distal, proximal)
			if want, truth := fault(g, distal, proximal); got != want || is != truth || (is == sample.Yes) != (got != limb.Fine) {
				t.Fatalf("%+v of %v and %v: %q, %v, want %q, %v", g, distal, proximal, got, is, want, truth)
			}
			if proximal > -5 && rank[got] < last {
				t.Fatalf("%+v of %v and %v: %q", g, distal, proximal, got)
			}
			last = rank[got]
		}
	})
	for _, v := range []float64{math.Inf(1), math.MaxFloat64} {
		if f, is := (limb.Grade{Ratio: 0.8}).Judge(40, v); f != limb.Reversed || is != sample.Yes {
			t.Errorf("%v above 40: %q, %v", v, f, is)
		}
		if r := limb.Residual(20, v); r != 0 && r > 1e-300 {
			t.Errorf("20 of %v leaves %v %%", v, r)
		}
	}
	for _, reference := range []float64{0, -3, math.NaN(), math.Inf(-1)} {
		if r := limb.Residual(20, reference); !math.IsNaN(r) {
			t.Errorf("20 of %v leaves %v %%", reference, r)
		}
	}
}

// RAL-GZ 387/1:2008 (from memory) permits 50 to 80 % of the ankle at the calf in class II,
// and 50 to 70 % in III. With 40 mmHg at the ankle: each bound, and a mmHg beside it.
func TestWhatRALPermitsAtTheCalf(t *testing.T) {
	for _, c := range []struct {
		most  float64
		wants map[float64]limb.Fault
	}{
		{0.8, map[float64]limb.Fault{19: limb.TooSteep, 20: limb.Fine, 32: limb.Fine, 33: limb.Lost, 41: limb.Reversed}},
		{0.7, map[float64]limb.Fault{19: limb.TooSteep, 20: limb.Fine, 28: limb.Fine, 29: limb.Lost, 40: limb.Lost}},
	} {
		for calf, want := range c.wants {
			if got, _ := (limb.Grade{Ratio: c.most, Steepest: 0.5}).Judge(40, calf); got != want {
				t.Errorf("%v mmHg above 40, at most %v: %q, want %q", calf, c.most, got, want)
			}
		}
	}
}

// A part of a story: what the limb does, for so many seconds.
type part struct {
	does    string
	seconds float64
}

func drawStory(t *rapid.T) (out []part) {
	for range rapid.IntRange(2, 6).Draw(t, "parts") {
		out = append(out, part{rapid.SampledFrom([]string{"lies", "stands", "walks", "bends", "silent", "missing"}).Draw(t, "does"), float64(rapid.IntRange(1, 15).Draw(t, "seconds"))})
	}
	return out
}

// pressures of the ankle, so far into a story.
func (p *part) ankle(t float64) float64 {
	switch p.does {
	case "stands":
		return 58
	case "walks":
		return 48 + 8*math.Sin(2*math.Pi*0.92*t)
	case "bends":
		return 45 + 9*math.Sin(0.9*t)*math.Sin(0.37*t)
	case "missing":
		return math.NaN()
	}
	return 40
}

// everything there is to know of a limb, as text, so that unknowns are alike.
func everything(l *limb.Limb, sites int) string {
	w, walks := l.Walk()
	text := fmt.Sprint(l.Activity(), w, walks)
	for i := range sites {
		text += fmt.Sprint(l.Site(i))
	}
	return text
}

// tell tells a limb of a story, ten readings a second; each is called after every reading.
func tell(l *limb.Limb, story []part, begin sample.Instant, values func(ankle float64) []float64, each func(k int)) {
	k := 0
	for _, p := range story {
		for range int(10 * p.seconds) {
			at := begin.Add(time.Duration(k) * 100 * time.Millisecond)
			if p.does != "silent" {
				l.Add(at, values(p.ankle(float64(k)/10)), time.Second)
			}
			each(k)
			k++
		}
		if p.does == "silent" {
			l.Silence()
		}
	}
}

// known is what is known of a limb after each reading of a story.
func known(story []part) (after []string) {
	l := limb.New(2)
	tell(l, story, 0, both, func(int) { after = append(after, everything(l, 2)) })
	return after
}

// written is a limb's state, with what was said of it.
func written(l *limb.Limb) []byte { return state.Append(state.Append(nil, l), l.MarksCode()) }

// reread is the limb of a state, which it has to the byte.
func reread(t rapid.TB, b []byte) *limb.Limb {
	t.Helper()
	l := limb.New(2)
	rest, err := state.Read(b, l)
	if err == nil {
		rest, err = state.Read(rest, l.MarksCode())
	}
	if err != nil || len(rest) != 0 || !bytes.Equal(written(l), b) {
		t.Fatalf("%v, %d bytes left", err, len(rest))
	}
	return l
}

func both(ankle float64) []float64 { return []float64{ankle, 0.7 * ankle} }

// When a story happens does not matter, by whole minutes, before 1970 or in 2200: at each
// reading the same is known.
func TestWhenItHappensDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		story := drawStory(t)
		first := known(story)
		begin := sample.Instant(time.Minute) * sample.Instant(rapid.Int64Range(-100_000_000, 120_000_000).Draw(t, "minutes"))
		m := limb.New(2)
		tell(m, story, begin, both, func(k int) {
			if got := everything(m, 2); got != first[k] {
				t.Fatalf("%v: reading %d at %v is\n%s\nnot\n%s", story, k, begin, got, first[k])
			}
		})
	})
}

// What is written and read at any instant of any story goes on as what was not, and what
// is cut off is refused; of Still, Walking and Bending one is yes at most, and what needs a
// limb at rest, or one that walks, is not told of another.
func TestAnyStoryAtAnyInstant(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		story := drawStory(t)
		var first []string
		l := limb.New(2)
		tell(l, story, 0, both, func(k int) {
			first = append(first, everything(l, 2))
			a := l.Activity()
			yes := 0
			for _, is := range []sample.Truth{a.Still, a.Walking, a.Bending} {
				if is == sample.Yes {
					yes++
				}
			}
			for i := range 2 {
				s := l.Site(i)
				rest, swing := !math.IsNaN(s.Resting) || !math.IsNaN(s.Stiffness), !math.IsNaN(s.Swing)
				if yes > 1 || rest && a.Still != sample.Yes || swing && a.Walking != sample.Yes || !math.IsNaN(s.Stiffness) && a.Standing != sample.Yes {
					t.Fatalf("%v: at reading %d %+v %+v", story, k, a, s)
				}
			}
		})
		m := limb.New(2)
		cut := rapid.IntRange(0, len(first)-1).Draw(t, "cut")
		tell(m, story, 0, both, func(k int) {
			if k == cut {
				b := written(m)
				*m = *reread(t, b)
				if _, err := state.Read(state.Append(nil, m)[:rapid.IntRange(0, len(b)/2).Draw(t, "bytes")], limb.New(2)); err == nil {
					t.Fatal("a part of a state is taken")
				}
			}
			if got := everything(m, 2); got != first[k] {
				t.Fatalf("%v, cut after %d: reading %d is\n%s\nnot\n%s", story, cut, k, got, first[k])
			}
		})
	})
}

// A site that says nothing changes nothing of those that do; and a limb of which nothing
// was ever read knows nothing.
func TestASilentSiteChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		story := drawStory(t)
		first, m := known(story), limb.New(3)
		tell(m, story, 0, func(ankle float64) []float64 { return append(both(ankle), math.NaN()) }, func(k int) {
			if got := everything(m, 2); got != first[k] {
				t.Fatalf("%v: reading %d is\n%s\nnot\n%s", story, k, got, first[k])
			}
			if s := m.Site(2); !math.IsNaN(s.Resting) || !math.IsNaN(s.Swing) || !math.IsNaN(s.Stiffness) {
				t.Fatalf("the silent site: %+v", s)
			}
		})
	})
	l := limb.New(0)
	l.Add(0, nil, time.Second)
	if a := l.Activity(); a != (limb.Activity{}) {
		t.Errorf("a limb without sites: %+v", a)
	}
}
