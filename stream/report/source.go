package report

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/excerpt"
	"weald/stream/journal"
	"weald/stream/keeper"
	"weald/stream/record"
	"weald/stream/report/paper"
	"weald/stream/report/tally"
	"weald/stream/sessions"
	"weald/stream/view"
)

// Errors that say that something was asked for which is not there, or makes no sense.
var (
	ErrNone  = errors.New("nothing to report")
	ErrAsked = errors.New("cannot be reported")
)

func none(format string, a ...any) error {
	return fmt.Errorf("%s: %w", fmt.Sprintf(format, a...), ErrNone)
}

func asked(format string, a ...any) error {
	return fmt.Errorf("%s: %w", fmt.Sprintf(format, a...), ErrAsked)
}

// A Setup is the configuration by which a stretch is judged.
type Setup struct {
	Version  uint64 // in the record; 0 where it has none of that time
	Hash     string
	Notes    []string // what has to be said of it
	Plan     *rules.Plan
	Settings []view.Setting
	Rates    []float64              // of the plan's sources, scans a second
	Reviver  func() *keeper.Reviver // a new one
}

// A Source is what reports are made of. It does not change; any goroutine may use it.
type Source struct {
	Journal journal.Journal
	Zone    *time.Location
	Program string // name and version of what makes reports; empty says none
	// Setup returns the configuration that was in force at an instant.
	Setup func(ctx context.Context, at sample.Instant) (*Setup, error)
}

func (s *Source) times() paper.Times { return paper.Times{Zone: s.Zone} }

// find returns the session with an id.
func (s *Source) find(ctx context.Context, id string) (*sessions.Session, error) {
	all, err := sessions.Read(ctx, s.Journal, "", nil)
	if err != nil {
		return nil, err
	}
	for i := range all {
		if all[i].ID == id {
			return &all[i], nil
		}
	}
	return nil, none("there is no session %q", id)
}

// A stretch is the record of one place from one instant to another, being read.
type stretch struct {
	*Source
	ctx      context.Context
	setup    *Setup
	place    *rules.Place
	sites    map[string]view.SiteSetting
	from, to sample.Instant

	excerpt  *excerpt.Excerpt // nil where no readings are kept
	engine   *rules.Engine
	follower tally.Follower
	readers  []func(*tally.Piece)

	losses []string
}

// lastInputs is how many inputs are looked at for the end of the record: those of
// places in a time of their own may lie among them.
const lastInputs = 10_000

// end returns just after the last of all that the record has: a place that has fallen
// silent before is not known from then on.
func (s *Source) end(ctx context.Context) (sample.Instant, error) {
	head, err := s.Journal.Head(ctx)
	if err != nil {
		return 0, err
	}
	end := sample.Past
	for in, err := range journal.Readable(s.Journal.Inputs(ctx, head.Ord-min(head.Ord, lastInputs), head.Ord), nil) {
		switch {
		case err != nil:
			return 0, err
		case in.Scan != nil:
			end = max(end, in.Scan.At+1)
		case in.Tick != nil:
			end = max(end, in.Tick.At+1)
		}
	}
	if end == sample.Past {
		return 0, none("the record has no readings")
	}
	return end, nil
}

// open prepares to read a place, to the end of the record where to is Never.
func (s *Source) open(ctx context.Context, place string, from, to sample.Instant) (*stretch, error) {
	if to == sample.Never {
		switch end, err := s.end(ctx); {
		case errors.Is(err, ErrNone):
			to = from
		case err != nil:
			return nil, err
		default:
			to = max(end, from)
		}
	}
	setup, err := s.Setup(ctx, from)
	if err != nil {
		return nil, err
	}
	i := slices.IndexFunc(setup.Plan.Places, func(p rules.Place) bool { return p.ID == place })
	if i < 0 {
		return nil, none("the configuration of that time has no place %q", place)
	}
	x := &stretch{Source: s, ctx: ctx, setup: setup, place: &setup.Plan.Places[i], from: from, to: to}
	if i < len(setup.Settings) {
		x.sites = setup.Settings[i].Sites
	}
	var by []rules.Rule
	for _, r := range setup.Plan.Rules {
		if r.Judges(x.place) {
			by = append(by, r)
		}
	}
	plan := &rules.Plan{Sources: setup.Plan.Sources, Places: setup.Plan.Places[i : i+1], Rules: by}
	x.excerpt, err = excerpt.New(ctx, s.Journal, setup.Plan, setup.Reviver, setup.Rates, i, from, to)
	switch {
	case errors.Is(err, journal.ErrNotFound):
		x.excerpt = nil
	case err != nil:
		return nil, err
	default:
		plan = x.excerpt.Plan(by)
	}
	x.follower = tally.Follower{From: x.from, To: x.to, Each: x.each}
	x.engine = rules.NewEngine(plan, &x.follower)
	x.follower.Of(x.engine)
	return x, nil
}

func (x *stretch) each(p *tally.Piece) {
	for _, f := range x.readers {
		f(p)
	}
}

// read has everything told that is followed.
func (x *stretch) read() error {
	if x.excerpt != nil {
		if err := x.excerpt.Judge(x.engine); err != nil {
			return err
		}
		x.losses = append(x.losses, x.excerpt.Losses...)
		if n := x.excerpt.Foreign; n > 0 {
			x.losses = append(x.losses, fmt.Sprintf("%d scans have another number of channels than the configuration says; they were left out.", n))
		}
	}
	x.follower.Finish()
	return nil
}

func (x *stretch) span() time.Duration { return x.to.Sub(x.from) }

func (x *stretch) lose(l *journal.Loss) {
	if text := l.Error(); !slices.Contains(x.losses, text) {
		x.losses = append(x.losses, text)
	}
}

// entries returns entries of the place in the stretch, or from before it on, in the
// order of their times.
func (x *stretch) entries(before time.Duration, kinds ...record.Kind) (all []record.Entry, err error) {
	q := journal.Query{Kinds: kinds, Place: x.place.ID, Since: x.from.Add(-before), Until: x.to}
	for e, err := range journal.Readable(x.Journal.Entries(x.ctx, q), x.lose) {
		if err != nil {
			return nil, err
		}
		all = append(all, e)
	}
	slices.SortStableFunc(all, func(a, b record.Entry) int { return cmp.Compare(a.At, b.At) })
	return all, nil
}

// seconds is where an instant is on an axis of the stretch.
func (x *stretch) seconds(at sample.Instant) float64 { return at.Sub(x.from).Seconds() }

func (x *stretch) axis() paper.Axis { return paper.Hours(x.from, x.to, x.Zone) }

// stripColumns is how many a drawing of conditions has: what is shorter cannot be seen,
// and a condition that comes and goes all the time would not fit onto a page.
const stripColumns = 640

// strip draws a condition, and what of it is not known: in each column what it was for
// longest.
func (x *stretch) strip(name string, runs tally.Runs) paper.Strip {
	s := paper.Strip{Name: name}
	column := max(x.span()/stripColumns, time.Second)
	for from, k := x.from, 0; from < x.to; {
		to := min(from.Add(column), x.to)
		var in [3]time.Duration
		for k < len(runs) {
			r := &runs[k]
			in[r.State] += max(0, min(to, r.To).Sub(max(from, r.From)))
			if r.To > to {
				break
			}
			k++
		}
		state := tally.No
		for _, other := range []tally.State{tally.Unknown, tally.Yes} {
			if in[other] > in[state] {
				state = other
			}
		}
		if state != tally.No {
			s.Add(x.seconds(from), x.seconds(to), state == tally.Unknown)
		}
		from = to
	}
	return s
}
