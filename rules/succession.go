package rules

import (
	"encoding/binary"
	"fmt"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
)

// An engine with another plan goes on where a former one stood: places that are the
// same take up their snapshots (RestorePlace), and in them all rules that are the same
// go on. Of what it does not go on with, the alerts end: Stood says which there were,
// and Ends how.

// Stood lists the alerts of a place that were not in the state normal when it was
// written down by SnapshotPlace. It needs no plan: place and rules may be gone. Of a
// snapshot that a version wrote which did not say where they are, or a damaged one, it
// lists none.
func Stood(place string, b []byte) (keys []alert.Key) {
	if len(b) < 13 || b[0] < 7 || b[0] > snapshotVersion {
		return nil
	}
	at := uint64(binary.LittleEndian.Uint32(b[9:]))
	if at > uint64(len(b)-13) {
		return nil
	}
	r := reader{b: b[13+at:]}
	for range r.count(r.left()) {
		k := alert.Key{Place: place, Rule: r.string(), Subject: r.string()}
		latched := alert.Spec{Latched: true} // what nobody has acknowledged counts in any case
		l, _, err := alert.ReadLife(&latched, []byte(r.string()))
		if r.bad || err != nil {
			return keys
		}
		if l.State(&latched) != alert.Normal {
			keys = append(keys, k)
		}
	}
	return keys
}

// Ends returns how an alert ends of which last was told last, by whatever engine, and
// that this one does not go on with: because its rule or its place is not in the plan,
// or because it judges anew. Now is the present where the place is none of the plan.
// False if the alert goes on, or is done with.
func (e *Engine) Ends(last *alert.Event, now sample.Instant) (alert.Event, bool) {
	if s := last.State; s == alert.Normal || s == "" && !last.Stands {
		return alert.Event{}, false
	}
	why, ends := e.parted(last.Key, &now)
	if !ends {
		return alert.Event{}, false
	}
	end := alert.Event{
		At: max(last.At, now), Key: last.Key, Priority: last.Priority, Signal: last.Signal, Unit: last.Unit,
		Value: sample.Unknown, U: sample.Unknown, Limit: sample.Unknown, State: alert.Normal,
	}
	stood := last.Stands || last.State == alert.Latched || last.State == alert.Returned // which nobody could acknowledge any more
	switch {
	case stood:
		end.What = alert.Cleared
	case last.State == alert.Shelved:
		end.What = alert.WasUnshelved
	case last.State == alert.OutOfService:
		end.What = alert.CameBack
	default:
		end.What = alert.WasUnsuppressed
	}
	if end.Text = why; last.Stands {
		if end.Held = end.At.Sub(last.At); last.What != alert.Raised {
			end.Held += last.Held
		}
		end.Text += "; the alert stood for " + Duration(end.Held.Round(time.Second))
	}
	return end, true
}

// parted says why this engine does not go on with an alert that was not normal, and
// moves now to the place's own present if there is the place.
func (e *Engine) parted(k alert.Key, now *sample.Instant) (why string, yes bool) {
	for i, p := range e.places {
		if p.spec.ID != k.Place {
			continue
		}
		if p.at != sample.Past {
			*now = p.at
		}
		at, judged := p.byKey[k]
		switch {
		case judged && p.lives[at].State(&p.lives[at].spec) != alert.Normal:
			return "", false
		case judged:
			return fmt.Sprintf("%s has been changed and is judged anew", k.Place), true
		case e.has(k.Rule):
			return fmt.Sprintf("in the changed configuration the rule does not judge %s at %s", k.Subject, e.places[i].spec.ID), true
		}
		return "the rule has been removed from the configuration", true
	}
	return fmt.Sprintf("%s has been removed from the configuration", k.Place), true
}

func (e *Engine) has(rule string) bool {
	for i := range e.plan.Rules {
		if e.plan.Rules[i].ID == rule {
			return true
		}
	}
	return false
}
