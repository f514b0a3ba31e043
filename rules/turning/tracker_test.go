package turning

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules/posture"
	"weald/rules/state"
)

var mat = posture.Mat{Rows: 64, Columns: 32, PitchMM: [2]float64{28, 25}}

// lying invents who lies on a side: knees is how far they are drawn up, in
// columns, to the high ones on the left side; at is where on the bed.
func lying(knees, at float64) []float64 {
	out := make([]float64, mat.Rows*mat.Columns)
	blob := func(row, column, tall, wide, mmHg float64) {
		for i := range out {
			y, x := (float64(i/mat.Columns)-row)/tall, (float64(i%mat.Columns)-column)/wide
			out[i] += mmHg * math.Exp(-(y*y+x*x)/2)
		}
	}
	blob(6, at+knees/4, 2, 1.5, 35)
	blob(15, at, 4, 2.2, 45)
	blob(16, at+knees, 1.6, 2.5, 15)
	blob(30, at, 3.2, 2.7, 60)
	blob(39, at+knees, 2.7, 3, 30)
	blob(51, at+knees/2, 5, 2, 30)
	return out
}

var left, right = lying(5, 15), lying(-5, 15)

type story struct {
	*Tracker
	t *testing.T
}

func newStory(t *testing.T) *story {
	return &story{New(mat, Settings{Settle: DefaultSettle, ForgetAfter: 10 * time.Minute}), t}
}

// lie tells of so many seconds, ten scans each.
func (s *story) lie(seconds int, values []float64) {
	for range 10 * seconds {
		s.Scan(values)
		s.Advance(100 * time.Millisecond)
	}
	s.Scan(values)
}

func (s *story) want(why string, turns int, lies posture.Position, held, within time.Duration) {
	s.t.Helper()
	if s.Turns() != turns || s.Position() != lies || s.Held() < held-within || s.Held() > held {
		s.t.Errorf("%s: %d turns, %v for %v; want %d, %v for %v", why, s.Turns(), s.Position(), s.Held(), turns, lies, held)
	}
}

func TestATurnIsOneThatLasts(t *testing.T) {
	s := newStory(t)
	s.want("before anything", 0, posture.NotSure, 0, 0)
	s.lie(29, left)
	s.want("not settled yet", 0, posture.NotSure, 29*time.Second, 0)
	s.lie(3, left)
	s.want("settled", 0, posture.Left, 32*time.Second, 0)
	s.lie(60, left)
	s.lie(29, right)
	s.want("a fidget, so far", 0, posture.Left, 121*time.Second, 0)
	s.lie(10, left)
	s.want("it was one", 0, posture.Left, 131*time.Second, 0)
	s.lie(32, right)
	s.want("a turn", 1, posture.Right, 32*time.Second, beat)
}

// Each scan of somebody who does not come to rest is elsewhere.
func TestTossingIsNoTurn(t *testing.T) {
	s := newStory(t)
	s.lie(60, left)
	for k := range 60 {
		s.lie(2, lying(float64(5-k%3*4), 9+float64(k%4*4)))
	}
	s.want("after two minutes", 0, posture.Left, 3*time.Minute, 0)
}

// What creeps, breathes or weighs more is where it was; who has moved to the
// other edge on the same side has turned their load, if not themselves.
func TestLoadIsNoTurnAndPlaceIs(t *testing.T) {
	s := newStory(t)
	heavier := make([]float64, len(left))
	for minute := range 60 {
		for i, v := range left {
			heavier[i] = v * (1 + 0.17*float64(minute)/60)
		}
		s.lie(60, heavier)
	}
	s.want("an hour of creep", 0, posture.Left, time.Hour, 0)
	s.lie(40, lying(5, 24))
	s.want("at the other edge", 1, posture.Left, 40*time.Second, beat)
}

func TestUnknownIsUnknown(t *testing.T) {
	s := newStory(t)
	s.lie(60, left)
	s.Silence()
	s.Advance(9 * time.Minute)
	if s.Known() != sample.Maybe || s.Position() != posture.NotSure {
		t.Errorf("in a silence %v is known: %v", s.Known(), s.Position())
	}
	s.lie(1, left)
	s.want("after a silence", 0, posture.Left, 61*time.Second, 0)
	s.Silence()
	s.Advance(10 * time.Minute)
	s.lie(1, left)
	s.want("after one that undoes", 0, posture.NotSure, time.Second, 0)
	s.lie(40, left)
	s.Away(false)
	s.Advance(30 * time.Second)
	s.lie(0, left)
	s.want("off the bed for a moment", 0, posture.Left, 71*time.Second, 0)
	s.Away(true)
	if s.Known() != sample.No || s.Held() != 0 {
		t.Errorf("an empty bed is known: %v, for %v", s.Known(), s.Held())
	}
}

// Known dead cells, all of a line and one in twenty, change nothing.
func TestMissingCells(t *testing.T) {
	s := newStory(t)
	s.lie(60, left)
	r := rand.New(rand.NewPCG(1, 1))
	holed := append([]float64(nil), left...)
	for i := range holed {
		if i/mat.Columns == 40 || r.IntN(20) == 0 {
			holed[i] = sample.Unknown
		}
	}
	s.lie(120, holed)
	s.want("with holes", 0, posture.Left, 3*time.Minute, 0)
}

// A tracker that is written and read at any moment goes on as the one that was
// not.
func TestCode(t *testing.T) {
	one, two := newStory(t), newStory(t)
	for k, values := range [][]float64{left, left, right, left, right, right, right} {
		one.lie(17, values)
		two.lie(17, values)
		b := state.Append(nil, two.Tracker)
		next := newStory(t)
		if rest, err := state.Read(b, next.Tracker); err != nil || len(rest) != 0 {
			t.Fatalf("step %d: %v, %d bytes over", k, err, len(rest))
		}
		if _, err := state.Read(b[:len(b)-1], newStory(t).Tracker); err == nil {
			t.Fatalf("step %d: a state that is cut off was read", k)
		}
		two = next
		two.want("as one", one.Turns(), one.Position(), one.Held(), 0)
	}
	if one.Turns() != 1 {
		t.Errorf("%d turns in the story, want 1", one.Turns())
	}
}

func TestScanAllocatesNothing(t *testing.T) {
	s := newStory(t)
	k := 0
	if n := testing.AllocsPerRun(200, func() {
		s.Scan([][]float64{left, right}[k/60%2])
		s.Advance(time.Second)
		k++
	}); n != 0 {
		t.Errorf("%v allocations a scan", n)
	}
}

// What a scan of 2,048 cells costs at 10 a second, and what it costs to look at
// every cell once.
func BenchmarkScan(b *testing.B) {
	s := New(mat, Settings{Settle: DefaultSettle, ForgetAfter: 10 * time.Minute})
	b.Run("ten a second", func(b *testing.B) {
		for b.Loop() {
			s.Scan(left)
			s.Advance(100 * time.Millisecond)
		}
	})
	b.Run("bare loop", func(b *testing.B) {
		sum := 0.0
		for b.Loop() {
			for _, x := range left {
				sum += x
			}
		}
		_ = sum
	})
}
