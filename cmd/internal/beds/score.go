package beds

import (
	"fmt"

	"weald/rules/posture"
)

// A Score is how often a recogniser was right.
type Score struct {
	Maps  int
	Right int // the likeliest position was the true one
	Sure  int // it gave an answer
	Wrong int // the answer it gave was wrong
}

// Add counts an answer on a map whose true position is known.
func (s *Score) Add(lies posture.Position, a posture.Answer) {
	s.Maps++
	if likeliest(a) == lies {
		s.Right++
	}
	if a.Position != posture.NotSure {
		s.Sure++
		if a.Position != lies {
			s.Wrong++
		}
	}
}

// Merge counts what another has counted.
func (s *Score) Merge(o Score) {
	s.Maps += o.Maps
	s.Right += o.Right
	s.Sure += o.Sure
	s.Wrong += o.Wrong
}

func likeliest(a posture.Answer) posture.Position {
	switch {
	case a.Supine >= a.Left && a.Supine >= a.Right:
		return posture.Supine
	case a.Left >= a.Right:
		return posture.Left
	}
	return posture.Right
}

// Accuracy is the share of maps whose likeliest position was the true one.
func (s *Score) Accuracy() float64 { return float64(s.Right) / float64(max(s.Maps, 1)) }

// Coverage is the share of maps that got an answer.
func (s *Score) Coverage() float64 { return float64(s.Sure) / float64(max(s.Maps, 1)) }

// Errors is the share of the answers that were wrong.
func (s *Score) Errors() float64 { return float64(s.Wrong) / float64(max(s.Sure, 1)) }

// String says all three.
func (s Score) String() string {
	return fmt.Sprintf("%6.2f %% right of %d, answered %6.2f %%, wrong of these %5.2f %%", 100*s.Accuracy(), s.Maps, 100*s.Coverage(), 100*s.Errors())
}
