package main

import (
	"math/rand/v2"
	"testing"
	"time"

	"weald/cmd/internal/beds"
	"weald/rules/posture"
	"weald/rules/turning"
)

// The turns of people by coefficients that never saw them: of the changes of
// position in invented nights at least 98 % are found within 60 s of lying
// still, and nothing is called by a wrong side for more than a hundredth of the
// time.
func TestTurnsOfPeopleNotFittedTo(t *testing.T) {
	subjects, parts := 3, 12
	if *full {
		subjects, parts = 9, 60
	}
	postures, _ := recordings(t)
	l := takes(t)
	changes, found, right, wrong := 0, 0, 0, 0
	for i, name := range l.subjects[:min(subjects, len(l.subjects))] {
		night := beds.Night{Seed: uint64(i + 50)}
		r := rand.New(rand.NewPCG(50, uint64(i)))
		for len(night.Parts) < parts {
			frames, err := beds.Recording(postures, name, 1+r.IntN(beds.Files))
			if err != nil {
				t.Fatal(err)
			}
			if k := len(night.Parts); k == 0 || night.Parts[k-1].Frames[0].Lies != frames[0].Lies {
				lasts := 3*time.Minute + time.Duration(r.IntN(180))*time.Second
				night.Parts = append(night.Parts, beds.Part{Frames: frames[beds.Trusted:], Lasts: lasts})
			}
		}
		rec := posture.NewWith(beds.PosturesMat(), l.but(name))
		tr := turning.NewWith(rec, turning.Settings{Settle: turning.DefaultSettle, ForgetAfter: 10 * time.Minute})
		at, now, still := time.Duration(0), 0, time.Duration(0)
		night.Each(func(m beds.Moment) {
			if m.Part != now && !m.Moving {
				now, still = m.Part, m.At
				changes++
			}
			tr.Advance(m.At - at)
			at = m.At
			if tr.Scan(m.Values) && now == m.Part && m.At-still <= time.Minute {
				found++
			}
			switch {
			case m.Moving || m.At-still < 90*time.Second:
			case tr.Position() == m.Lies:
				right++
			case tr.Position() != posture.NotSure:
				wrong++
			}
		})
	}
	t.Logf("%d changes, %d found; %d maps called rightly, %d wrongly", changes, found, right, wrong)
	if float64(found) < 0.98*float64(changes) || float64(wrong) > 0.01*float64(right) || right < 1000 {
		t.Errorf("%d of %d changes found, want 98 %%; %d maps called rightly, %d wrongly, want a hundredth at most", found, changes, right, wrong)
	}
}
