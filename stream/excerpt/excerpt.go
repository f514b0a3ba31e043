// Package excerpt makes a stretch of the record of one place into a recording
// that package export can write: its signals as the rules engine makes them of
// the readings, with what happened as annotations.
//
// Readings are taken in the order of their times, not of their arrival, so that
// what a bridge had stored and sent later is in its place, although the live
// run could not judge it. Calibration records that were put into force apply from
// their instant on, and where there is none the lines of the configuration that
// is given; raw readings are what the record has.
//
// Memory holds some minutes of readings at a time, however long the stretch is.
package excerpt

import (
	"context"
	"fmt"
	"iter"
	"slices"
	"strings"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/export"
	"weald/stream/journal"
	"weald/stream/keeper"
	"weald/stream/record"
	"weald/stream/sessions"
)

// An Excerpt is one place in one stretch of time. One goroutine owns it.
type Excerpt struct {
	// Losses are what could not be read so far, in plain words, each once.
	Losses []string

	// Foreign is how many scans the last pass left out because the
	// configuration has their source with another number of channels.
	Foreign int

	ctx      context.Context
	journal  journal.Journal
	plan     *rules.Plan            // with the one place and no rules
	reviver  func() *keeper.Reviver // a new one
	rates    []float64
	sources  []int // that the place is measured by
	from, to sample.Instant
}

// New returns the excerpt of a place, by its index in the plan. rates are those
// of the plan's sources, scans a second. reviver makes a new one for each pass. from and to may be Past and Never: then
// they are where the place's record begins and ends, which is a nominal period behind its
// newest reading: for so long it counts by itself.
//
// If there is nothing of the place its error wraps journal.ErrNotFound.
func New(ctx context.Context, j journal.Journal, plan *rules.Plan, reviver func() *keeper.Reviver, rates []float64, place int, from, to sample.Instant) (*Excerpt, error) {
	x := &Excerpt{
		ctx: ctx, journal: j, reviver: reviver, rates: rates, from: from, to: to,
		plan: &rules.Plan{Sources: plan.Sources, Places: plan.Places[place : place+1], Lean: true},
	}
	for i := range plan.Sources {
		if plan.Places[place].Uses(i) {
			x.sources = append(x.sources, i)
		}
	}
	if err := x.bound(); err != nil {
		return nil, err
	}
	return x, nil
}

// Through returns before when a stretch ends that has what a place's sensors read at an
// instant too. That is the instant itself, unless something was read just then, and is not of
// a session that begins with it.
func Through(ctx context.Context, j journal.Journal, plan *rules.Plan, place int, at sample.Instant) (sample.Instant, error) {
	if at == sample.Never {
		return at, nil
	}
	all, err := sessions.Read(ctx, j, plan.Places[place].ID, nil)
	if err != nil || slices.ContainsFunc(all, func(s sessions.Session) bool { return s.From == at && s.To > at }) {
		return at, err
	}
	for i := range plan.Sources {
		if !plan.Places[place].Uses(i) {
			continue
		}
		for block, err := range journal.Readable(j.Readings(ctx, plan.Sources[i].ID, at, at+1), nil) {
			if err != nil {
				return at, err
			}
			if slices.ContainsFunc(block.Scans, func(s record.Scan) bool { return s.At == at }) {
				return at + 1, nil
			}
		}
	}
	return at, nil
}

// Recording returns what is to be exported. Its rows and annotations may be
// ranged over again and again, one after another.
func (x *Excerpt) Recording() (export.Recording, error) {
	r := export.Recording{Header: export.Header{Place: x.place().ID, Start: x.from, End: x.to}}
	var err error
	if r.Header.Sessions, err = x.sessions(); err != nil {
		return r, err
	}
	for _, t := range x.tracks() {
		r.Tracks = append(r.Tracks, t.track)
	}
	notes, err := x.annotations()
	if err != nil {
		return r, err
	}
	r.Annotations = func(yield func(export.Annotation, error) bool) {
		for _, a := range notes {
			if !yield(a, nil) {
				return
			}
		}
	}
	return r, nil
}

func (x *Excerpt) place() *rules.Place { return &x.plan.Places[0] }

// A lane is a track in the making: which of the place's signals are on it.
type lane struct {
	track  export.Track
	which  []int // of the engine's signals
	source []int
}

// tracks puts signals together that are taken together: those that rest on the
// same sources. What is made of others can be made again, and is left out.
func (x *Excerpt) tracks() []*lane {
	var lanes []*lane
	engine := rules.NewEngine(x.plan, quiet{})
	for k, sig := range engine.Signals(0)[:engine.Measured(0)] {
		on := x.restsOn(sig.Name)
		i := slices.IndexFunc(lanes, func(l *lane) bool { return slices.Equal(l.source, on) })
		if i < 0 {
			i = len(lanes)
			l := &lane{source: on}
			for _, s := range on {
				l.track.StaleAfter = max(l.track.StaleAfter, x.plan.Sources[s].StaleAfter)
			}
			if len(on) == 1 { // the times of several make no rate
				l.track.Rate = x.rates[on[0]]
			}
			lanes = append(lanes, l)
		}
		lanes[i].which = append(lanes[i].which, k)
		lanes[i].track.Signals = append(lanes[i].track.Signals, export.Signal{Name: sig.Name, Unit: sig.Unit})
	}
	for _, l := range lanes {
		l.track.Rows = x.rows(l.which)
	}
	return lanes
}

// restsOn returns the sources of a signal, in ascending order.
func (x *Excerpt) restsOn(signal string) []int {
	p := x.place()
	for i := range p.Sites {
		if p.Sites[i].ID+".pressure" != signal {
			continue
		}
		var on []int
		for _, c := range p.Sites[i].Channels {
			if !slices.Contains(on, c.Source) {
				on = append(on, c.Source)
			}
		}
		slices.Sort(on)
		return on
	}
	return []int{p.Mat.Source}
}

// rows yields the rows of a track: the signals as they are whenever one of them
// is new.
func (x *Excerpt) rows(which []int) iter.Seq2[export.Row, error] {
	return func(yield func(export.Row, error) bool) {
		t := x.newTaker(which, yield)
		switch err := x.feed(t.engine, func() bool { return t.done }); {
		case t.done:
		case err != nil:
			yield(export.Row{}, err)
		default:
			t.engine.Finish()
			t.flush()
		}
	}
}

// Plan is that of the place alone, judged by rules.
func (x *Excerpt) Plan(by []rules.Rule) *rules.Plan {
	return &rules.Plan{Sources: x.plan.Sources, Places: x.plan.Places, Rules: by}
}

// Judge gives all readings to an engine of Plan, and lets it come to an end.
func (x *Excerpt) Judge(engine *rules.Engine) error {
	if err := x.feed(engine, func() bool { return false }); err != nil {
		return err
	}
	engine.Finish()
	return nil
}

// feed gives readings to an engine, in the order of their times, until enough.
func (x *Excerpt) feed(engine *rules.Engine, enough func() bool) error {
	x.Foreign = 0
	reviver := x.reviver()
	decided, err := x.decided()
	if err != nil {
		return err
	}
	for r, err := range x.readings() {
		if err != nil {
			return err
		}
		for len(decided) > 0 && decided[0].At <= r.scan.At {
			reviver.Apply(&decided[0])
			if word, ok := keeper.MarkOf(&decided[0], x.place()); ok {
				engine.Mark(0, word, decided[0].At)
			}
			decided = decided[1:]
		}
		scan, ok := reviver.Revive(r.source, r.scan)
		if !ok {
			x.Foreign++
			continue
		}
		// In its place it is on time.
		scan.Arrived, scan.Stored = scan.At, false
		if engine.Scan(scan); enough() {
			return nil
		}
	}
	return nil
}

// lose notes what cannot be read.
func (x *Excerpt) lose(l *journal.Loss) {
	if text := l.Error(); !slices.Contains(x.Losses, text) {
		x.Losses = append(x.Losses, text)
	}
}

// bound replaces Past and Never by where the record of the place's sources
// begins and ends, and refuses a stretch of nothing.
func (x *Excerpt) bound() error {
	first, last, err := x.journal.Span(x.ctx, x.from, x.to)
	if err != nil {
		return fmt.Errorf("place %s: %w", x.place().ID, err)
	}
	if x.from == sample.Past {
		x.from = sample.Never
		err = x.look(first, last, func(_ int, s *record.Scan) bool {
			x.from = min(x.from, s.At)
			return false
		})
		if err == nil { // what came later may have been read before
			err = x.beyond(sample.Past, x.from, func(_ int, at sample.Instant) { x.from = min(x.from, at) })
		}
	}
	if x.to == sample.Never && err == nil {
		x.to = sample.Past
		newest := sample.Past
		read := func(source int, at sample.Instant) {
			newest = max(newest, at)
			x.to = max(x.to, at.Add(x.period(source)))
		}
		// The end is not far from the end: some ten thousand inputs are
		// seconds of a ward.
		for back := uint64(1e4); x.to == sample.Past && err == nil; back *= 10 {
			begin := last - min(last-first, back)
			err = x.look(begin, last, func(source int, s *record.Scan) bool {
				read(source, s.At)
				return true
			})
			if begin == first {
				break
			}
		}
		if err == nil && newest > sample.Past { // what came last may have been read long before
			err = x.beyond(newest.Add(1), sample.Never, read)
		}
		if x.from > newest {
			x.to = x.from
		}
	}
	if err == nil && x.from >= x.to {
		err = fmt.Errorf("place %s: %w", x.place().ID, journal.ErrNotFound)
	}
	return err
}

// period is how long a reading of a source counts by itself: until the next one is due.
func (x *Excerpt) period(source int) time.Duration {
	if rate := x.rates[source]; rate > 0 {
		return time.Duration(float64(time.Second) / rate)
	}
	return max(x.plan.Sources[source].StaleAfter, 1)
}

// look calls each with the scans of the place's sources, and of which one it is, until it
// returns false.
func (x *Excerpt) look(first, last uint64, each func(source int, s *record.Scan) bool) error {
	for in, err := range journal.Readable(x.journal.Inputs(x.ctx, first, last), x.lose) {
		if err != nil {
			return err
		}
		if in.Scan == nil {
			continue
		}
		i := slices.IndexFunc(x.sources, func(s int) bool { return x.plan.Sources[s].ID == in.Source })
		if i >= 0 && !each(x.sources[i], in.Scan) {
			return nil
		}
	}
	return nil
}

// beyond calls each with when the readings from one instant until before another were, and of
// which of the place's sources, in any order. Where there are none, which is so nearly always,
// it opens no block.
func (x *Excerpt) beyond(from, to sample.Instant, each func(source int, at sample.Instant)) error {
	for _, source := range x.sources {
		for block, err := range journal.Readable(x.journal.Readings(x.ctx, x.plan.Sources[source].ID, from, to), x.lose) {
			if err != nil {
				return err
			}
			for i := range block.Scans {
				if at := block.Scans[i].At; at >= from && at < to {
					each(source, at)
				}
			}
		}
	}
	return nil
}

// Base returns a name for the files of the excerpt, such as
// "bench-1-20260301T2200Z".
func (x *Excerpt) Base() string {
	clean := strings.Map(func(r rune) rune {
		if r == '-' || r == '_' || r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' {
			return r
		}
		return '_'
	}, x.place().ID)
	return clean + "-" + x.from.Time().Format("20060102T1504Z")
}
