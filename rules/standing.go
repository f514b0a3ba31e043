package rules

import (
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/hold"
)

// A standing is how one rule stands with one subject: the gate, the hold of a
// condition, and what people have been told of it. Whoever has one finds the
// condition, and tells.
type standing struct {
	rule  *Rule
	key   alert.Key
	feeds []int // what the condition and the gate rest on
	spec  hold.Spec
	gate  gate

	hold    hold.State
	cond    sample.Truth
	since   sample.Instant // when it was raised
	unknown bool           // it is raised, and people have been told that nothing is known
}

// count lets the hold count span from an instant on. What is "" if nothing
// changed.
func (s *standing) count(from sample.Instant, span time.Duration) (what alert.Change, at sample.Instant, held time.Duration) {
	change, offset := s.hold.Advance(&s.spec, span, s.cond)
	at = from.Add(offset)
	switch change {
	case hold.Raised:
		s.since, s.unknown = at, false
		return alert.Raised, at, s.spec.OnDelay
	case hold.Cleared:
		return alert.Cleared, at, at.Sub(s.since)
	}
	return "", at, 0
}

// lost notes whether what it is judged by is unknown. What is "" if there is
// nothing to tell: it is not raised, or people know.
func (s *standing) lost(unknown bool) (what alert.Change) {
	if !s.hold.Raised || unknown == s.unknown {
		return ""
	}
	s.unknown = unknown
	return knownOr(unknown)
}

func knownOr(unknown bool) alert.Change {
	if unknown {
		return alert.Unknown
	}
	return alert.Known
}

func (s *standing) next() (time.Duration, bool, bool, []int) {
	raised := s.hold.Raised && !s.unknown
	if !s.gate.open {
		return 0, false, raised, s.feeds
	}
	in, ok := s.hold.Next(&s.spec, s.cond)
	return in, ok, raised, s.feeds
}

func (s *standing) judges() *Rule { return s.rule }
