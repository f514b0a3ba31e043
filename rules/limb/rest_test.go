package limb_test

import (
	"math"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules/limb"
)

// rests adds so many seconds of readings that do not waver, ten a second, from an instant on.
func rests(l *limb.Limb, from sample.Instant, seconds int, values ...float64) sample.Instant {
	for range 10 * seconds {
		l.Add(from, values, time.Second)
		from = from.Add(100 * time.Millisecond)
	}
	return from
}

// A change of posture is a step of 3 mmHg or of 8 % of the level that it begins from, which
// ever is larger: at each bound, and a little less.
func TestHowLargeAStepIs(t *testing.T) {
	for _, c := range []struct {
		from, to float64
		stands   sample.Truth
	}{
		{20, 23, sample.Yes}, {20, 22.9, sample.Maybe}, {20, 17, sample.No}, {20, 17.1, sample.Maybe},
		{50, 54, sample.Yes}, {50, 53.9, sample.Maybe}, {50, 46, sample.No}, {50, 46.1, sample.Maybe},
	} {
		l := limb.New(1)
		at := rests(l, 0, 10, c.from)
		l.Add(at, []float64{c.from + 20}, time.Second) // it moves
		rests(l, at.Add(100*time.Millisecond), 20, c.to)
		if a := l.Activity(); a.Standing != c.stands || a.Still != sample.Yes {
			t.Errorf("from %v to %v mmHg: %+v, want standing %v", c.from, c.to, a, c.stands)
		}
	}
}

// A reading that is missing makes a level unknown, and the next one known again at once: the
// rest goes on.
func TestOneMissingReading(t *testing.T) {
	l := limb.New(2)
	at := rests(l, sample.Instant(500*time.Millisecond), 10, 40, 28) // to the middle of a second
	l.Add(at, []float64{40, math.NaN()}, time.Second)
	if s := l.Site(1); !math.IsNaN(s.Resting) || l.Site(0).Resting != 40 {
		t.Errorf("without a reading: %+v, and the other site %+v", s, l.Site(0))
	}
	l.Add(at.Add(100*time.Millisecond), []float64{40, 28}, time.Second)
	if s := l.Site(1); s.Resting != 28 {
		t.Errorf("with the next one: %+v", s)
	}
}

// A site that comes to rest before the lowest one, of which nothing is read, has risen from
// where it was before the movement all the same.
func TestTheRiseIsFromBeforeTheMovement(t *testing.T) {
	l := limb.New(2)
	at := rests(l, 0, 10, 40, 28)
	l.Add(at, []float64{60, 40}, time.Second)
	at = rests(l, at.Add(100*time.Millisecond), 10, math.NaN(), 36)
	rests(l, at, 10, 58, 36)
	if a, b := l.Site(0).Stiffness, l.Site(1).Stiffness; a != 18 || b != 8 {
		t.Errorf("risen by %v and %v, want 18 and 8", a, b)
	}
}

// What strides tell is told of who is known to walk, and of nobody else, however seldom the
// pressure is read.
func TestAWalkIsToldOfWhoWalks(t *testing.T) {
	told := map[bool]int{}
	for _, rate := range []float64{2, 2.5, 3, 3.5, 4, 5, 7, 10, 25} {
		for _, hertz := range []float64{0.5, 0.8, 1, 1.15} {
			s := &story{Limb: limb.New(1), rate: rate}
			for s.t < 40 {
				v := 40 + 8*math.Sin(2*math.Pi*hertz*s.t)
				s.Add(sample.Instant(math.Round(s.t*1e9)), []float64{v}, time.Second)
				s.t += 1 / rate
				_, ok := s.Walk()
				if told[ok]++; ok != (s.Activity().Walking == sample.Yes) {
					t.Fatalf("%v strides at %v scans a second: told %v of %+v", hertz, rate, ok, s.Activity())
				}
			}
		}
	}
	if told[true] < 100 || told[false] < 100 {
		t.Errorf("told and not told: %v", told)
	}
}

// Who says twice how the limb rests has said it of one rest: the next is recognised.
func TestSaidTwiceIsSaidOfOneRest(t *testing.T) {
	s := lies(40, 28)
	s.says(false)
	s.goOn(5, at(40, 28))
	s.moves(40, 28)
	s.goOn(20, at(58, 36))
	s.stiff(t, "it got up", sample.Yes, 18)
}

// What was said of a rest holds for as long as it lasts, far beyond the two minutes that it
// would have waited for one: the rise goes on following the level.
func TestWhatIsSaidLastsAsLongAsTheRest(t *testing.T) {
	s := lies(20, 14)
	s.moves(20, 14)
	s.goOn(10, at(22, 15))
	s.says(true)
	s.goOn(180, at(22, 15))
	s.stiff(t, "after three minutes", sample.Yes, 2)
	s.goOn(20, at(23, 15))
	s.stiff(t, "and a little more", sample.Yes, 3)
}

// Where a limb was said to lie counts until it is said anew, whatever is recognised after
// somebody has said that it stands.
func TestWhereItWasSaidToLieCounts(t *testing.T) {
	s := lies(40, 28)
	s.moves(40, 28)
	s.goOn(10, at(50, 33))
	s.says(true)
	s.goOn(5, at(50, 33))
	s.stiff(t, "said", sample.Yes, 10)
	s.moves(50, 33)
	s.goOn(10, at(44, 30))
	s.stiff(t, "leaning is taken for lying down", sample.No, none)
	s.moves(44, 30)
	s.goOn(10, at(52, 34))
	s.says(true)
	s.goOn(5, at(52, 34))
	s.stiff(t, "said again", sample.Yes, 12)
}
