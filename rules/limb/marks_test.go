package limb_test

import (
	"math"
	"testing"

	"weald/ingest/sample"
	"weald/rules/limb"
)

// says marks the posture at the story's present.
func (s *story) says(standing bool) { s.Mark(standing, sample.Instant(math.Round(s.t*1e9))) }

// moves is a movement of two seconds between two levels.
func (s *story) moves(ankle, calf float64) { s.goOn(2, walk(ankle, calf, 12, 0.5)) }

// stiff fails unless the limb is known to stand, or not to, and its ankle is so stiff;
// NaN for unknown.
func (s *story) stiff(t *testing.T, when string, standing sample.Truth, want float64) {
	t.Helper()
	if got := s.Activity().Standing; got != standing {
		t.Errorf("%s: standing is %v, want %v", when, got, standing)
	}
	if got := s.Site(0).Stiffness; math.IsNaN(want) != math.IsNaN(got) || math.Abs(got-want) > 0.5 {
		t.Errorf("%s: a stiffness of %v, want %v", when, got, want)
	}
}

var none = math.NaN()

// Under a stocking that gives way the ankle rises by 2 mmHg when somebody stands up,
// which is less than what is recognised: only who is there can say so. With the state
// written and read after every part it is the same.
func TestMarksTellWhatIsNotRecognised(t *testing.T) {
	for _, cut := range []bool{false, true} {
		s := &story{Limb: limb.New(2), rate: 10}
		again := func() {
			if cut {
				s.Limb = reread(t, written(s.Limb))
			}
		}
		s.goOn(20, at(20, 14))
		s.says(false)
		again()
		s.goOn(10, at(20, 14))
		s.stiff(t, "lying", sample.No, none)
		again()
		s.moves(20, 14)
		s.goOn(10, at(22, 15))
		s.stiff(t, "not said yet", sample.No, none)
		again()
		s.says(true)
		s.stiff(t, "said, and nothing read since", sample.No, none)
		s.goOn(0.1, at(22, 15))
		s.stiff(t, "standing", sample.Yes, 2)
		again()
		s.goOn(10, at(23, 15))
		s.stiff(t, "the rise is that of the present level", sample.Yes, 3)
		s.moves(22, 15)
		s.goOn(10, at(22, 15))
		s.stiff(t, "a foot that moved ends no stand", sample.Yes, 3)
		s.Unwrap()
		s.says(true)
		s.goOn(20, at(22, 15))
		s.stiff(t, "another wrap, of which nobody said how it lies", sample.Yes, none)
	}
}

// What is said wins over what is recognised, and the rise is that from where somebody
// was said to lie, not from the rest before.
func TestMarksWinOverWhatIsRecognised(t *testing.T) {
	s := lies(40, 28)
	s.moves(40, 28)
	s.goOn(20, at(46, 30))
	s.stiff(t, "it was drawn up, and is taken for a stand", sample.Yes, 6)
	s.says(false)
	s.goOn(1, at(46, 30))
	s.stiff(t, "it is said that it lies", sample.No, none)
	s.moves(46, 30)
	s.goOn(20, at(58, 36))
	s.stiff(t, "a step is recognised again", sample.Yes, 12)
	s.moves(58, 36)
	s.goOn(20, at(50, 33))
	s.stiff(t, "leaning is taken for lying down", sample.No, none)
	s.says(true)
	s.goOn(1, at(50, 33))
	s.stiff(t, "it is said that it stands", sample.Yes, 4)
}

// Who says "standing" before somebody gets up speaks of the next rest, as no posture
// changes without a movement; so does who says it while the limb moves, but not for long.
func TestMarksAreOfOneRest(t *testing.T) {
	s := lies(40, 28)
	s.says(true)
	s.goOn(5, at(40, 28))
	s.stiff(t, "before it gets up", sample.No, none)
	s.moves(40, 28)
	s.goOn(10, at(41, 28))
	s.stiff(t, "after it got up", sample.Yes, 1)
	s.moves(40, 28)
	s.says(false)
	s.moves(40, 28)
	s.goOn(10, at(41, 28))
	s.stiff(t, "said while it moved", sample.No, none)
	s.moves(40, 28)
	s.says(true)
	s.goOn(150, walk(41, 28, 12, 0.5))
	s.goOn(10, at(42, 28))
	s.stiff(t, "said long before it came to rest", sample.No, none)
}
