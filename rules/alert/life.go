package alert

import (
	"time"

	"weald/ingest/sample"
)

// A Spec is what a rule says about the life of its alerts.
type Spec struct {
	// Latched keeps an alert in sight until it is acknowledged, even after it
	// has cleared.
	Latched bool
	// EscalateAfter is how long an alert may be unacknowledged before it is the
	// next tier's; 0 for ever.
	EscalateAfter time.Duration
}

// A Note says which person brought an alert into a state, when and why. Its
// zero value is that nobody has.
type Note struct {
	Who, Why  string
	At, Until sample.Instant // Until is 0 where there is no end
}

func (n *Note) in() bool { return n.Who != "" }

// A Life is where one alert is in its life. Its zero value is normal.
//
// Its methods take the instants of what happens and read no clock; they append
// the changes that people are to be told of to dst. What they leave out, such as
// the sentence and the numbers, is base's.
type Life struct {
	Holds      bool // what the hold says
	Raised     bool // what people have been told; differs from Holds only while Chattering
	Owed       bool // nobody has acknowledged the newest raise
	Chattering bool
	Suppressed bool

	Since sample.Instant // of the newest raise that was told
	Acked Note           // of that raise

	Shelf Note // never together with Out
	Out   Note

	Tier      int            // 0 while nobody is called, else 1 to MostTiers
	TierSince sample.Instant // since when it is Tier's

	Raises int // how many of Recent are set
	Recent [ChatterMost]sample.Instant
}

// State returns the state that people are shown.
func (l *Life) State(spec *Spec) State {
	switch {
	case l.Out.in():
		return OutOfService
	case l.Suppressed:
		return Suppressed
	case l.Shelf.in():
		return Shelved
	case l.Raised && l.Owed:
		return Unacknowledged
	case l.Raised:
		return Acknowledged
	case l.Owed && spec.Latched:
		return Latched
	case l.Owed:
		return Returned
	}
	return Normal
}

// Hold takes what a hold has found: e is Raised, Cleared, Unknown or Known.
func (l *Life) Hold(spec *Spec, e Event, dst []Event) []Event {
	switch e.What {
	case Raised:
		l.Holds = true
		chatters := l.raises(e.At)
		if l.Chattering {
			return l.quietly(spec, e, dst) // it stands already
		}
		l.Chattering = chatters
		l.Raised, l.Owed, l.Since, l.Acked = true, true, e.At, Note{}
	case Cleared:
		l.Holds = false
		if l.Chattering {
			return l.quietly(spec, e, dst)
		}
		l.clear(spec)
	default:
		if !l.Raised {
			return dst
		}
	}
	return l.tell(spec, e, dst)
}

// quietly completes a change of which nobody is told.
func (l *Life) quietly(spec *Spec, e Event, dst []Event) []Event {
	e.Quiet = true
	return l.tell(spec, e, dst)
}

// raises notes a raise and reports whether there are now too many.
func (l *Life) raises(at sample.Instant) bool {
	if l.Raises < ChatterMost {
		l.Recent[l.Raises] = at
		l.Raises++
		return false
	}
	oldest := l.Recent[0]
	copy(l.Recent[:], l.Recent[1:])
	l.Recent[ChatterMost-1] = at
	return at.Sub(oldest) <= ChatterSpan
}

// clear ends an episode. One that nobody was called for needs nobody.
func (l *Life) clear(spec *Spec) {
	l.Raised = false
	if l.State(spec).Aside() && !spec.Latched {
		l.Owed = false
	}
}

// Next returns when time alone will change l, or sample.Never. After Tick it is
// later than what Tick was given.
func (l *Life) Next(spec *Spec) sample.Instant {
	_, at := l.due(spec)
	return at
}

// due returns what comes next. Of what is due at once, the shelf ends first, and
// an escalation comes last: it may have lost its cause.
func (l *Life) due(spec *Spec) (what Change, at sample.Instant) {
	at = sample.Never
	if l.Shelf.in() {
		what, at = Ended, l.Shelf.Until
	}
	if l.Chattering {
		if calm := l.Recent[ChatterMost-1].Add(ChatterSpan); calm < at {
			what, at = Calmed, calm
		}
	}
	if l.Tier > 0 && l.Tier < MostTiers && spec.EscalateAfter > 0 {
		if next := l.TierSince.Add(spec.EscalateAfter); next < at {
			what, at = Escalated, next
		}
	}
	return what, at
}

// Tick lets what is due first happen, if it is due by the instant to. It has to
// be called until Next is later.
func (l *Life) Tick(spec *Spec, base Event, to sample.Instant, dst []Event) []Event {
	what, at := l.due(spec)
	if at > to {
		return dst
	}
	base.What, base.At = what, at
	switch what {
	case Ended:
		l.Shelf = Note{}
	case Escalated:
		l.Tier, l.TierSince = l.Tier+1, at
	case Calmed:
		l.Chattering = false
		if !l.Holds {
			base.Held = at.Sub(l.Since)
			l.clear(spec)
		}
	}
	return l.tell(spec, base, dst)
}

// Act takes what a person does. An error wraps ErrRefused, and nothing has
// happened then.
func (l *Life) Act(spec *Spec, base Event, a *Action, dst []Event) ([]Event, error) {
	if err := l.Permits(spec, a); err != nil {
		return dst, err
	}
	note := Note{Who: a.Who, Why: a.Why, At: a.At, Until: a.Until}
	switch a.Verb {
	case Acknowledge:
		base.What, l.Owed, l.Acked = WasAcknowledged, false, note
	case Shelve:
		base.What, l.Shelf = WasShelved, note
	case Unshelve:
		base.What, l.Shelf = WasUnshelved, Note{}
	case TakeOut:
		base.What, l.Out, l.Shelf = WentOut, note, Note{}
	case TakeBack:
		base.What, l.Out = CameBack, Note{}
	}
	base.At, base.Who, base.Why, base.Until = a.At, a.Who, a.Why, a.Until
	return l.tell(spec, base, dst), nil
}

// Suppress says whether there is, by design, nobody to be judged.
func (l *Life) Suppress(spec *Spec, base Event, yes bool, at sample.Instant, dst []Event) []Event {
	if l.Suppressed == yes {
		return dst
	}
	l.Suppressed = yes
	base.At, base.What = at, WasUnsuppressed
	if yes {
		base.What = WasSuppressed
	}
	return l.tell(spec, base, dst)
}

// tell completes a change: it sees to whom the alert now is, and says so.
func (l *Life) tell(spec *Spec, e Event, dst []Event) []Event {
	e.State = l.State(spec)
	switch calls := e.State == Unacknowledged || e.State == Latched; {
	case !calls:
		l.Tier = 0
	case l.Tier == 0:
		l.Tier, l.TierSince = 1, e.At
	}
	e.Tier, e.Chattering, e.Stands = l.Tier, l.Chattering, l.Raised
	var by *Note
	switch e.State {
	case OutOfService:
		by = &l.Out
	case Shelved:
		by = &l.Shelf
	case Acknowledged:
		by = &l.Acked
	}
	if by != nil && e.Who == "" {
		e.Who, e.Why, e.Until = by.Who, by.Why, by.Until
	}
	if l.Raised && e.What != Raised && e.Held == 0 {
		e.Held = max(0, e.At.Sub(l.Since))
	}
	return append(dst, e)
}
