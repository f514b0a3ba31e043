package ingest

import (
	"fmt"
	"time"

	"weald/ingest/sample"
)

// When a bridge that is connected and says nothing useful is in trouble, on the
// daemon's clock. They are long against any scan period and short against a
// person's patience.
const (
	silentAfter  = 5 * time.Second
	strangeAfter = 3 * time.Second
)

// enough is how many bytes without a good frame are suspicious, unless whole
// frames were refused. A packed frame has at least 22.
const enough = 64

// A complaint is what is wrong, in words for people, and what kind of thing it
// is: words that count seconds change while the trouble stays the same. The
// zero complaint is none.
type complaint struct{ kind, words string }

// trouble says what is wrong with an open connection.
func (in *intake) trouble(now sample.Instant) complaint {
	strange := max(strangeAfter, in.grace)
	if in.fresh.count > 0 && now.Sub(in.fresh.since) >= strange && (in.fresh.count >= enough || in.fresh.bad > 2) {
		return complaint{"strange", in.strange(now)}
	}
	last := max(in.lastByte, in.opened)
	if now.Sub(last) < max(silentAfter, in.patience(), in.grace) {
		if in.losses.words != "" {
			return complaint{"losses", in.losses.words}
		}
		return in.flooded()
	}
	lasts := now.Sub(last).Truncate(time.Second)
	words := fmt.Sprintf("nothing has arrived for %v", lasts)
	if in.lastByte < in.opened {
		words = fmt.Sprintf("nothing has arrived since the link was opened %v ago", lasts)
	}
	return complaint{"silent", words + ": is the bridge powered, and is it sending?"}
}

// await says that a link has been opening for longer than patience, as one does
// that waits for the bridge to call. It is said when somebody asks, so that it is
// said to the second.
func (s *Status) await(now sample.Instant, patience time.Duration) {
	if lasts := now.Sub(s.Since); lasts >= patience {
		s.Trouble = fmt.Sprintf("still no connection after %v: is the bridge powered, and is there a way between it and this machine?", lasts.Truncate(time.Second))
		s.TroubleSince = s.Since.Add(patience)
	}
}

// patience is how long the fastest source may be silent.
func (in *intake) patience() time.Duration {
	best := time.Duration(0)
	for _, s := range in.sources {
		if s.spec.Rate > 0 {
			if p := s.patience(); best == 0 || p < best {
				best = p
			}
		}
	}
	return best
}

// trouble says what is wrong with the bridge. It is called with s.mu held.
func (s *Supervisor) trouble(now sample.Instant) complaint {
	if s.status.State == Open {
		if c := s.in.trouble(now); c != (complaint{}) {
			return c
		}
		// A link that was just opened again has still to prove itself.
		if now.Sub(s.opened) > silentAfter {
			return complaint{}
		}
	}
	if s.lastErr != nil {
		return complaint{s.lastErr.Error(), s.lastErr.Error()}
	}
	return complaint{}
}
