package report

import (
	"context"
	"math"
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/report/paper"
	"weald/stream/report/tally"
	"weald/stream/sessions"
)

// A Trial picks what the summary of a trial is of. Its zero values do not choose.
type Trial struct {
	Person, Place string
	From, To      sample.Instant // Past and Never for all that there is
}

// mostSessions is how many sessions are read for one summary.
const mostSessions = 2000

// Trial is the summary of a trial: for each participant and day in a seat the time
// seated, shifts, reliefs, transfers and exposure. Tell is called with how far it has
// come, from 0 to 1.
func (s *Source) Trial(ctx context.Context, t Trial, tell func(float64)) (*paper.Document, error) {
	if t.From >= t.To {
		return nil, asked("the trial would end before it begins")
	}
	all, err := sessions.Read(ctx, s.Journal, t.Place, nil)
	if err != nil {
		return nil, err
	}
	all = slices.DeleteFunc(all, func(one sessions.Session) bool {
		return one.To <= t.From || one.From >= t.To || t.Person != "" && one.Code != t.Person
	})
	switch {
	case len(all) == 0:
		return nil, none("there is no session that this would be of")
	case len(all) > mostSessions:
		return nil, asked("%d sessions are too many for one summary: give --from and --to", len(all))
	}
	book := &trialBook{times: s.times(), program: s.Program}
	for i := range all {
		if err := s.sat(ctx, &all[i], t, book); err != nil {
			return nil, err
		}
		tell(float64(i+1) / float64(len(all)))
	}
	return book.document(t), nil
}

// sat adds one session to the book.
func (s *Source) sat(ctx context.Context, one *sessions.Session, t Trial, book *trialBook) error {
	x, err := s.open(ctx, one.Place, max(one.From, t.From), min(one.To, t.To))
	if err != nil {
		return err
	}
	if x.place.Kind != rules.Seat {
		book.elsewhere++
		return nil
	}
	countDays(x, book.of(one.Code))
	if err := x.read(); err != nil {
		return err
	}
	return book.add(x)
}

// A day is what a participant did on one day, of all their sessions.
type day struct {
	begins        time.Time
	watched       time.Duration // of sessions
	known, seated time.Duration
	counts        [3]int
	longest       tally.Mean // of the seconds seated with nothing that counts
	pressure      tally.Mean // while seated
	used          float64    // the most of a tolerance, by the rule of the place; NaN for none
	sessions      int
}

// merge adds another day to a sum.
func (d *day) merge(o *day) {
	d.watched += o.watched
	d.known += o.known
	d.seated += o.seated
	for i, n := range o.counts {
		d.counts[i] += n
	}
	d.longest.Merge(&o.longest)
	d.pressure.Merge(&o.pressure)
	d.used = most(d.used, o.used)
	d.sessions += o.sessions
}

// most is the greater, of which one may not be known.
func most(a, b float64) float64 {
	switch {
	case a != a:
		return b
	case b != b:
		return a
	}
	return max(a, b)
}

// A participant is all days of one.
type participant struct {
	code string
	days []*day
}

func (p *participant) day(begins time.Time) *day {
	i, found := slices.BinarySearchFunc(p.days, begins, func(d *day, t time.Time) int { return d.begins.Compare(t) })
	if !found {
		p.days = slices.Insert(p.days, i, &day{begins: begins, used: math.NaN()})
	}
	return p.days[i]
}

// sum is of all days.
func (p *participant) sum() *day {
	all := &day{used: math.NaN()}
	for _, d := range p.days {
		all.merge(d)
	}
	return all
}

// days cuts what happens in one session at midnights of the zone.
type days struct {
	x        *stretch
	of       *participant
	occupied int
	since    int
	counts   [3]*counted
	pressed  []int // signals whose mean is the pressure
	today    *day
	until    sample.Instant // the end of today
}

// countDays has a stretch counted for a participant.
func countDays(x *stretch, p *participant) {
	d := &days{x: x, of: p, until: sample.Past, occupied: x.follower.Follow("occupied"), since: x.follower.Follow("relief.since")}
	for i, r := range reliefSignals {
		d.counts[i] = &counted{name: r.name, index: x.follower.Follow(r.signal)}
	}
	if x.place.Mat != nil {
		d.pressed = []int{x.follower.Follow(rules.WholeMat + ".mean")}
	} else {
		for i := range x.place.Sites {
			d.pressed = append(d.pressed, x.follower.Follow(x.place.Sites[i].ID+".pressure"))
		}
	}
	x.readers = append(x.readers, d.take)
	x.follower.Now = d.doses()
}

// turn goes to the day of an instant.
func (d *days) turn(at sample.Instant) {
	if at < d.until {
		return
	}
	t := at.Time().In(d.x.Zone)
	begins := time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, d.x.Zone)
	d.today, d.until = d.of.day(begins), sample.At(time.Date(t.Year(), t.Month(), t.Day()+1, 0, 0, 0, 0, d.x.Zone))
	d.today.sessions++
}

func (d *days) take(p *tally.Piece) {
	for from := p.From; from < p.To; {
		d.turn(from)
		to := min(p.To, d.until)
		d.add(p, to.Sub(from))
		from = to
	}
}

func (d *days) add(p *tally.Piece, span time.Duration) {
	d.today.watched += span
	switch tally.StateOf(p.Values[d.occupied]) {
	case tally.Yes:
		d.today.known += span
		d.today.seated += span
		d.today.pressure.Add(d.mean(p), span)
	case tally.No:
		d.today.known += span
	}
	d.today.longest.Add(p.Values[d.since], span)
	for i, c := range d.counts {
		d.today.counts[i] += c.Add(p.Values[c.index])
	}
}

// mean is the pressure of the seat: that of its sites, of which at least half must be
// known, as in a site of many channels.
func (d *days) mean(p *tally.Piece) tally.Value {
	sum, known := 0.0, 0
	for _, i := range d.pressed {
		if v := p.Values[i]; v.Known() {
			sum += v.V
			known++
		}
	}
	if known == 0 || 2*known < len(d.pressed) {
		return tally.Value{V: math.NaN(), U: math.NaN()}
	}
	return tally.Value{V: sum / float64(known), U: math.NaN()}
}

// doseEvery is how often it is looked how much of a tolerance is used, which takes
// minutes and more to change.
const doseEvery = time.Minute

// doses looks how much of a tolerance is used, where a rule of the place is about that.
func (d *days) doses() func(sample.Instant) {
	exposed := map[string]float64{} // the share of the tolerance that the rule allows
	for i := range d.x.setup.Plan.Rules {
		if r := &d.x.setup.Plan.Rules[i]; r.Exposure != nil && r.Judges(d.x.place) {
			exposed[r.ID] = r.Exposure.Share
		}
	}
	if len(exposed) == 0 {
		return nil
	}
	var room []rules.Progress
	next := sample.Past
	return func(at sample.Instant) {
		if at < next {
			return
		}
		next = at.Add(doseEvery)
		d.turn(at)
		room = d.x.engine.Progress(0, room[:0])
		for i := range room {
			if share, ok := exposed[room[i].Rule]; ok {
				d.today.used = most(d.today.used, room[i].Share*share)
			}
		}
	}
}
