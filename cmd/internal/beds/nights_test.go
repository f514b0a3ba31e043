package beds

import (
	"flag"
	"io/fs"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"weald/ingest/recorded"
	"weald/rules/posture"
	"weald/rules/turning"
)

func recordings(t *testing.T) fs.FS { return os.DirFS(recorded.Path(t, "bed-postures")) }

var full = flag.Bool("full", false, "more and longer nights, for minutes")

// A sleeper is a tracker that is told of the moments of a night.
type sleeper struct {
	*turning.Tracker
	at time.Duration
}

func newSleeper() *sleeper {
	return &sleeper{Tracker: turning.New(PosturesMat(), turning.Settings{Settle: turning.DefaultSettle, ForgetAfter: 10 * time.Minute})}
}

func (s *sleeper) hear(m Moment) {
	s.Advance(m.At - s.at)
	s.at = m.At
	s.Scan(m.Values)
}

func part(t *testing.T, dir fs.FS, subject string, file int, lasts time.Duration) Part {
	t.Helper()
	frames, err := Recording(dir, subject, file)
	if err != nil {
		t.Fatal(err)
	}
	return Part{Frames: frames[Trusted:], Lasts: lasts}
}

// Nights of every subject, put together from their recordings by invented
// schedules with fixed seeds: at least 98 % of the changes between supine, left
// and right are found within 60 s of lying still, with the right position.
func TestChangesAreFound(t *testing.T) {
	dir := recordings(t)
	subjects, err := Subjects(dir)
	if err != nil {
		t.Fatal(err)
	}
	changes, found, named, misnamed := 0, 0, 0, 0
	parts := 10
	if *full {
		parts = 90
	}
	for i, name := range subjects {
		r := rand.New(rand.NewPCG(9, uint64(i)))
		n := Night{Seed: uint64(i)}
		for range parts {
			p := part(t, dir, name, 1+r.IntN(Files), 4*time.Minute+time.Duration(r.IntN(240))*time.Second)
			if k := len(n.Parts); k > 0 && n.Parts[k-1].Frames[0].Lies == p.Frames[0].Lies {
				continue
			}
			n.Parts = append(n.Parts, p)
		}
		tr := newSleeper()
		now, before, still := -1, 0, time.Duration(0)
		n.Each(func(m Moment) {
			if m.Part != now && !m.Moving {
				now, still = m.Part, m.At
				changes++
			}
			tr.hear(m)
			if now == m.Part && tr.Turns() > before && m.At-still <= time.Minute {
				found++
			}
			before = tr.Turns()
			if m.At-still > 2*time.Minute && !m.Moving {
				switch tr.Position() {
				case m.Lies:
					named++
				case posture.NotSure:
				default:
					misnamed++
				}
			}
		})
		changes-- // whoever comes has not turned
		t.Logf("%s: %d found", name, found)
	}
	t.Logf("%d changes, %d found; of the maps after two minutes %d named rightly, %d wrongly", changes, found, named, misnamed)
	if changes < 40 || float64(found) < 0.98*float64(changes) {
		t.Errorf("%d of %d changes found, want 98 %%", found, changes)
	}
	if float64(misnamed) > 0.01*float64(named) || named < 8000 {
		t.Errorf("%d maps were named wrongly, %d rightly: want 1 %% at most", misnamed, named)
	}
}

// Nights in which nobody turns: 8 h as in one recording, with a fidget every few
// minutes, small changes that stay, and creep. At most one turn is found in any.
func TestUnchangedNights(t *testing.T) {
	dir := recordings(t)
	subjects, err := Subjects(dir)
	if err != nil {
		t.Fatal(err)
	}
	nights := [][2]int{{0, 4}, {7, 16}} // subject, file
	if *full {
		nights = nil
		for i := range subjects {
			for file := 1 + i%2; file <= Files; file += 2 {
				nights = append(nights, [2]int{i, file})
			}
		}
	}
	for k, night := range nights {
		name, file := subjects[night[0]], night[1]
		n := Night{Parts: []Part{part(t, dir, name, file, 8*time.Hour)}, Seed: uint64(100 + k)}
		tr := newSleeper()
		maps, sure := 0, 0
		n.Each(func(m Moment) {
			tr.hear(m)
			maps++
			if tr.Position() == m.Lies {
				sure++
			}
		})
		t.Logf("%s as in recording %d: %d turns, %.2f %% named", name, file, tr.Turns(), 100*float64(sure)/float64(maps))
		if tr.Turns() > 1 {
			t.Errorf("%s as in recording %d: %d turns, want one at most", name, file, tr.Turns())
		}
	}
}
