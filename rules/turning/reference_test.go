package turning

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules/posture"
	"weald/rules/state"
)

// The reference keeps every look at a pattern and reckons what is believed of it anew each
// time, as the package comment tells it.
type look struct {
	pic           []float64
	along, across float64
	answer        posture.Answer
}

type looks struct {
	all []look
	age time.Duration
}

type reference struct {
	settle, forget         time.Duration
	lain, next             *looks
	position               posture.Position
	held, silent, unlooked time.Duration
	turns                  int
	now                    string // silence, gone, off, there
}

// mean is the belief in a position over all looks.
func (l *looks) mean(p posture.Position) float64 {
	sum := 0.0
	for _, k := range l.all {
		sum += map[posture.Position]float64{posture.Supine: k.answer.Supine, posture.Left: k.answer.Left, posture.Right: k.answer.Right}[p]
	}
	return sum / float64(len(l.all))
}

func (l *looks) position() posture.Position {
	for _, p := range []posture.Position{posture.Supine, posture.Left, posture.Right} {
		if l.mean(p) >= 0.9 {
			return p
		}
	}
	return posture.NotSure
}

func (l *looks) apart(k look) (picture, mm float64) {
	first := l.all[0]
	dy, dx := first.along-k.along, first.across-k.across
	return posture.Distance(first.pic, k.pic), dy*dy + dx*dx
}

func (l *looks) shows(k look) bool {
	picture, square := l.apart(k)
	return picture <= 0.06 && square < 100*100
}

func (r *reference) undo() {
	r.lain, r.next, r.position, r.held, r.unlooked = nil, nil, posture.NotSure, 0, 2*time.Second
}

func (r *reference) advance(span time.Duration) {
	switch r.now {
	case "silence":
		if was := r.silent; was < r.forget {
			if r.silent += span; r.silent >= r.forget {
				r.undo()
			}
		}
	case "there":
		r.held, r.unlooked = r.held+span, r.unlooked+span
		if r.next != nil {
			r.next.age += span
		}
	case "off":
		r.held += span
	}
}

func (r *reference) scan(k look) {
	r.now = "there"
	if r.unlooked < 2*time.Second {
		return
	}
	r.unlooked = 0
	if r.lain != nil && r.lain.shows(k) {
		r.next = nil
		if r.position == posture.NotSure {
			r.lain.all = append(r.lain.all, k)
			r.position = r.lain.position()
		}
		return
	}
	if r.next == nil || !r.next.shows(k) {
		r.next = &looks{}
	}
	r.next.all = append(r.next.all, k)
	if r.next.age < r.settle {
		return
	}
	is := r.next.position()
	if r.lain != nil {
		picture, square := r.lain.apart(r.next.all[0])
		doubted := r.position != posture.NotSure && r.next.mean(r.position) < 0.5 || is != posture.NotSure && r.lain.mean(is) < 0.5
		if doubted || square > 200*200 || picture > 0.30 {
			r.turns++
			r.held = r.next.age
		} else if is == posture.NotSure {
			is = r.position
		}
	} else if is == posture.NotSure {
		is = r.position
	}
	r.position, r.lain, r.next = is, r.next, nil
}

// people are maps to lie like: on either side, in the middle, with knees hardly drawn up,
// elsewhere on the bed, and nothing at all.
var people = [][]float64{
	left, right, lying(0, 15), lying(1, 15), lying(5, 17), lying(5, 24), lying(-4, 10), lying(4, 14.5), make([]float64, mat.Rows*mat.Columns),
}

// Whatever somebody does, and however time is cut: the tracker answers as the reference
// does, and one that is written and read at any instant goes on as one that was not.
func TestAgainstTheReference(t *testing.T) {
	var shots []look
	for _, values := range people {
		rec := posture.New(mat)
		rec.Draw(values)
		pic, along, across := rec.Last()
		shots = append(shots, look{append([]float64(nil), pic...), along, across, rec.Judge()})
	}
	settings := Settings{Settle: 4 * time.Second, ForgetAfter: 20 * time.Second}
	turns := 0
	tried.Check(t, tried.Count(&turns, 3), func(t *rapid.T) {
		one, cut := New(mat, settings), New(mat, settings)
		r := reference{settle: settings.Settle, forget: settings.ForgetAfter, now: "silence", unlooked: 2 * time.Second}
		for range rapid.IntRange(1, 9).Draw(t, "parts") {
			who := rapid.IntRange(0, len(people)+2).Draw(t, "who")
			if rapid.Bool().Draw(t, "on a side") {
				who %= 2
			}
			for range rapid.IntRange(1, 20).Draw(t, "times") {
				switch {
				case who < len(people):
					if got, want := one.Scan(people[who]), cut.Scan(people[who]); got != want {
						t.Fatalf("a turn was found by one: %v, %v", got, want)
					}
					if who < len(people)-1 {
						r.scan(shots[who])
					} else if r.now = "there"; r.unlooked >= 2*time.Second {
						r.unlooked = 0 // there was nothing to be seen
					}
				case who == len(people):
					one.Silence()
					cut.Silence()
					if r.now != "silence" {
						r.now, r.silent = "silence", 0
					}
				default:
					gone := who == len(people)+1
					one.Away(gone)
					cut.Away(gone)
					if r.now = "off"; gone {
						r.now = "gone"
						r.undo()
					}
				}
				span := time.Duration(rapid.IntRange(0, 3000).Draw(t, "ms")) * time.Millisecond
				part := time.Duration(rapid.Int64Range(0, int64(span)).Draw(t, "part"))
				one.Advance(span)
				cut.Advance(part)
				fresh := New(mat, settings)
				if rest, err := state.Read(state.Append(nil, cut), fresh); err != nil || len(rest) != 0 {
					t.Fatalf("left %d bytes, %v", len(rest), err)
				}
				cut = fresh
				cut.Advance(span - part)
				r.advance(span)
				known := map[string]sample.Truth{"gone": sample.No, "off": sample.Yes, "there": sample.Yes}[r.now]
				position := r.position
				if known != sample.Yes {
					position = posture.NotSure
				}
				for which, k := range map[string]*Tracker{"told at once": one, "cut": cut} {
					if k.Known() != known || k.Position() != position || k.Held() != r.held || k.Turns() != r.turns {
						t.Fatalf("%s: %v, %v for %v, %d turns; want %v, %v for %v, %d turns", which,
							k.Known(), k.Position(), k.Held(), k.Turns(), known, position, r.held, r.turns)
					}
				}
			}
		}
		turns += r.turns
	})
}

// In a mirror, and with a heavier person, the same happens at the same instants.
func TestMirrorsAndWeights(t *testing.T) {
	one, mirrored, heavier := newStory(t), newStory(t), newStory(t)
	for k, values := range [][]float64{left, right, left, lying(0, 15), right, lying(-5, 24)} {
		flipped, more := make([]float64, len(values)), make([]float64, len(values))
		for i, v := range values {
			flipped[i/mat.Columns*mat.Columns+mat.Columns-1-i%mat.Columns], more[i] = v, 2.7*v
		}
		for s, v := range map[*story][]float64{one: values, mirrored: flipped, heavier: more} {
			s.lie(41, v)
		}
		mirrored.want("in a mirror", one.Turns(), one.Position().Mirrored(), one.Held(), 0)
		heavier.want("heavier", one.Turns(), one.Position(), one.Held(), 0)
		if k > 0 && one.Turns() == 0 {
			t.Error("the story is too quiet")
		}
	}
}

// A night by the book: turned every 2 h (Consortium for Spinal Cord Medicine, 2014), so
// that neither 4 nor 6 h (NICE QS89, statement 5) ever pass; and one without a turn, in
// which all of them do.
func TestNightsByTheBook(t *testing.T) {
	for _, c := range []struct {
		every, most time.Duration
		turns       int
	}{{2 * time.Hour, 2*time.Hour + 40*time.Second, 3}, {9 * time.Hour, 8 * time.Hour, 0}} {
		s, longest := newStory(t), time.Duration(0)
		for at := time.Duration(0); at < 8*time.Hour; at += 10 * time.Second {
			s.Scan([][]float64{left, right}[at/c.every%2])
			s.Advance(10 * time.Second)
			longest = max(longest, s.Held())
		}
		if s.Turns() != c.turns || longest > c.most || longest < c.most-time.Minute {
			t.Errorf("turned every %v: %d turns, at most %v without one; want %d, %v", c.every, s.Turns(), longest, c.turns, c.most)
		}
	}
}

// State of which a byte is wrong, or that is cut off, is refused or makes sense: it is what
// would be written again.
func TestStateThatIsDamaged(t *testing.T) {
	s := newStory(t)
	s.lie(40, left)
	s.lie(7, right)
	whole := state.Append(nil, s.Tracker)
	rapid.Check(t, func(t *rapid.T) {
		b := append([]byte(nil), whole...)
		b[rapid.IntRange(0, len(b)-1).Draw(t, "at")] ^= byte(rapid.IntRange(1, 255).Draw(t, "by"))
		fresh := New(mat, s.settings)
		rest, err := state.Read(b, fresh)
		if err != nil {
			return
		}
		if again := append(state.Append(nil, fresh), rest...); string(again) != string(b) {
			t.Fatal("what was read is not what is written")
		}
	})
}
