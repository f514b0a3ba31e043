package importing

import (
	"slices"
	"time"

	"weald/ingest"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

// eachReason is how many problems of a reason are shown at least, however many
// of other reasons came before.
const eachReason = 3

// aboutAnHour is how far from an hour a step of the clock may be that is
// probably daylight saving.
const aboutAnHour = 5 * time.Second

// A ledger writes the account while a recording is played.
type ledger struct {
	account *Account
	most    int // problems and steps to show

	// Where the playback is.
	line int   // 0 for binary formats and captures
	byte int64 // -1 for captures

	shown   map[frame.Reason]int
	unknown map[uint16]int // by number: index into account.Unknown
	sources map[uint16]*clockwork
	byIndex map[int]int // by sample.Scan.Source: index into account.Sources
	last    sample.Instant
}

// A clockwork follows the times of one source.
type clockwork struct {
	source *Source
	lasts  time.Duration // how long a value does
	begun  bool
	last   sample.Instant
	fold   *fold // nil where times are not local
}

// newLedger opens the account of a recording of b.
func newLedger(a *Account, b *ingest.Bridge, most int) *ledger {
	l := &ledger{
		account: a, most: most, byte: -1, last: sample.Past,
		shown: map[frame.Reason]int{}, unknown: map[uint16]int{}, sources: map[uint16]*clockwork{}, byIndex: map[int]int{},
	}
	a.Refused = map[frame.Reason]uint64{}
	a.Sources = make([]Source, len(b.Sources))
	var hours *fold
	if t := b.Format.Delimited.Time; b.Format.Kind == ingest.Delimited && t.As == frame.InLayout && t.Zone != nil {
		hours = &fold{zone: t.Zone}
	}
	for i, s := range b.Sources {
		a.Sources[i] = Source{ID: s.ID, First: sample.Never, Last: sample.Past}
		l.byIndex[s.Index] = i
		l.sources[s.Number] = &clockwork{source: &a.Sources[i], lasts: s.StaleAfter, fold: hours}
	}
	return l
}

// found takes what the playback came to.
func (l *ledger) found(f ingest.Finding) {
	if f.Bad != nil {
		l.refuse(&f)
	}
	l.last = f.At
	if f.Frame == nil {
		return
	}
	c := l.sources[f.Frame.Source]
	if c == nil {
		l.stranger(f.Frame.Source)
		return
	}
	if f.Bad == nil {
		l.account.Frames++
		l.account.Wide.See(f.Frame)
		if f.Frame.Kind == frame.Readings && !f.Frame.Stored {
			l.time(c, &f)
		}
	}
}

func (l *ledger) refuse(f *ingest.Finding) {
	a, r := l.account, f.Bad.Reason
	a.Refused[r]++
	if len(a.Problems) >= l.most && l.shown[r] >= min(eachReason, l.most) {
		return
	}
	l.shown[r]++
	p := Problem{Line: f.Bad.Line, Column: f.Bad.Column, Byte: l.byte, At: l.last, Reason: r, Text: f.Bad.Error()}
	if f.Frame != nil {
		p.Line = l.line
	}
	a.Problems = append(a.Problems, p)
}

func (l *ledger) stranger(number uint16) {
	a := l.account
	i, known := l.unknown[number]
	if !known {
		i = len(a.Unknown)
		l.unknown[number] = i
		a.Unknown = append(a.Unknown, Unknown{Number: number})
	}
	a.Unknown[i].Frames++
}

// time looks at a frame's time: of its row, or of its arrival.
func (l *ledger) time(c *clockwork, f *ingest.Finding) {
	now, row := f.At, false
	if f.Frame.Wall != sample.Never {
		now, row = f.Frame.Wall, true
	}
	if c.fold != nil {
		switch c.fold.pass(now) {
		case first:
			c.source.FirstPass++
		case second:
			c.source.SecondPass++
		}
	}
	last, begun := c.last, c.begun
	c.last, c.begun = now, true
	if !begun {
		return
	}
	switch d := now.Sub(last); {
	case d < 0:
		c.source.StepsBack++
		l.step(c, last, now)
	case d == 0 && row:
		c.source.StandStills++
	case d > c.lasts:
		c.source.Pauses++
		c.source.Silent += d
		l.step(c, last, now)
	}
}

func (l *ledger) step(c *clockwork, from, to sample.Instant) {
	if len(l.account.Steps) >= l.most {
		return
	}
	s := Step{Source: c.source.ID, Line: l.line, Byte: l.byte, From: from, To: to}
	s.Hour = (s.By().Abs() - time.Hour).Abs() <= aboutAnHour
	l.account.Steps = append(l.account.Steps, s)
}

// scan takes a scan that the playback gave.
func (l *ledger) scan(s *sample.Scan) (source int) {
	i := l.byIndex[s.Source]
	src := &l.account.Sources[i]
	src.First, src.Last = min(src.First, s.At), max(src.Last, s.At)
	return i
}

// close enters what the playback has counted itself.
func (l *ledger) close(s ingest.Status) {
	for i, from := range s.Sources {
		to := &l.account.Sources[i]
		to.Scans, to.Missing, to.Repeats, to.Late = from.Scans, from.Gaps, from.Repeats, from.Late
		to.Partial, to.Damaged, to.Stored, to.Unplaced = from.Partial, from.Damaged, from.Stored, from.Unplaced
		to.Restarts = max(from.Epochs-1, 0)
	}
	slices.SortFunc(l.account.Unknown, func(a, b Unknown) int { return int(a.Number) - int(b.Number) })
}
