package export

import (
	"iter"

	"weald/ingest/sample"
)

// A Session is when it was whose recording: a reading is of it from From until before To,
// as all intervals are half open.
type Session struct {
	Person, ID string
	From, To   sample.Instant
}

// whose returns whose all of the recording is: the session that covers it, or nobody's.
// A code stands for no time but that of its session.
func (h *Header) whose() Session {
	if len(h.Sessions) == 0 {
		return Session{h.Person, h.Session, sample.Past, sample.Never}
	}
	for _, s := range h.Sessions {
		if s.From <= h.Start && s.To >= h.End {
			return s
		}
	}
	return Session{}
}

// stretches returns the sessions with what is between them, which is nobody's: of all
// time, in order and without a hole. A session ends where the next one begins.
func (h *Header) stretches() []Session {
	if len(h.Sessions) == 0 {
		return []Session{h.whose()}
	}
	var all []Session
	at := sample.Past
	for i, s := range h.Sessions {
		if s.From = max(s.From, at); i+1 < len(h.Sessions) {
			s.To = min(s.To, h.Sessions[i+1].From)
		}
		if s.From >= s.To {
			continue
		}
		if s.From > at {
			all = append(all, Session{From: at, To: s.From})
		}
		all, at = append(all, s), s.To
	}
	if at < sample.Never {
		all = append(all, Session{From: at, To: sample.Never})
	}
	return all
}

// happened yields the annotations, and among them the sessions, cut to the recording, each
// with how long it was: so that every format with annotations says whose what was.
func (r *Recording) happened() iter.Seq2[Annotation, error] {
	return func(yield func(Annotation, error) bool) {
		h := &r.Header
		rest := h.Sessions
		sat := func(before sample.Instant) bool {
			for ; len(rest) > 0; rest = rest[1:] {
				from, to := max(rest[0].From, h.Start), min(rest[0].To, h.End)
				switch {
				case from >= to:
				case from > before:
					return true
				case !yield(Annotation{At: from, Duration: to.Sub(from), Kind: Sat, What: rest[0].ID, Subject: rest[0].Person}, nil):
					return false
				}
			}
			return true
		}
		if r.Annotations != nil {
			for a, err := range r.Annotations {
				if err == nil && !sat(a.At) || !yield(a, err) {
					return
				}
			}
		}
		sat(sample.Never)
	}
}
