package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"weald/ingest/sample"
	"weald/stream/report/paper"
)

// trialBook is what a trial comes to.
type trialBook struct {
	times        paper.Times
	program      string
	participants []*participant // by code
	elsewhere    int            // sessions that were not in a seat
	exposed      bool           // a rule is about a tolerance
	last         sample.Instant // reading
	force        []paper.Section
	versions     []string // of configurations, whose rules are in force
	losses       []string
}

func (b *trialBook) of(code string) *participant {
	i, found := slices.BinarySearchFunc(b.participants, code, func(p *participant, c string) int { return cmp.Compare(p.code, c) })
	if !found {
		b.participants = slices.Insert(b.participants, i, &participant{code: code})
	}
	return b.participants[i]
}

// add notes what is to be said beside the numbers of a session.
func (b *trialBook) add(x *stretch) error {
	b.last = max(b.last, x.follower.Last)
	b.exposed = b.exposed || x.follower.Now != nil
	for _, l := range x.losses {
		if !slices.Contains(b.losses, l) {
			b.losses = append(b.losses, l)
		}
	}
	if key := x.place.ID + " " + x.setup.Hash; !slices.Contains(b.versions, key) {
		b.versions = append(b.versions, key)
		f, err := x.force()
		if err != nil {
			return err
		}
		f.Title = "Rules in force at " + x.place.ID
		b.force = append(b.force, f)
	}
	return nil
}

func (b *trialBook) document(t Trial) *paper.Document {
	d := &paper.Document{Title: "Trial summary", Program: b.program}
	if t.Person != "" {
		d.Title += " of " + t.Person
	}
	bound := func(i sample.Instant, none sample.Instant, otherwise string) string {
		if i == none {
			return otherwise
		}
		return b.times.Full(i)
	}
	last := "none"
	if b.last > 0 {
		last = b.times.Full(b.last)
	}
	d.Facts = []paper.Fact{
		{Name: "participants", Value: fmt.Sprint(len(b.participants))}, {Name: "place", Value: cmp.Or(t.Place, "all seats")},
		{Name: "from", Value: bound(t.From, sample.Past, "the beginning")}, {Name: "to", Value: bound(t.To, sample.Never, "the end")},
		{Name: "last reading", Value: last}, {Name: "days and times", Value: b.times.Name()},
	}
	if len(b.participants) == 0 {
		d.Lead = []string{"None of the sessions was in a seat."}
	} else {
		d.Sections = append(d.Sections, b.overview())
	}
	if b.elsewhere > 0 {
		d.Lead = append(d.Lead, "Left out, as not in a seat: "+number(b.elsewhere, "sessions")+".")
	}
	for _, p := range b.participants {
		d.Sections = append(d.Sections, b.daysOf(p))
	}
	d.Sections = append(d.Sections, paper.Section{Title: "What is counted", Text: []string{
		reliefWords,
		"Observed: of the time of sessions, that in which it is known whether somebody sat. Numbers are of the time that was observed and are not multiplied up. An empty seat counts as left after a minute. A day is from midnight to midnight; a session of two days counts in both. An episode counts on the day on which it is counted.",
		"Pressure: mean over the time seated of the cells in contact, or of all sites. Exposure: that pressure times the time seated, which is no measure of harm.",
	}})
	d.Sections = append(d.Sections, b.force...)
	if len(b.losses) > 0 {
		d.Sections = append(d.Sections, paper.Section{Title: "What could not be read", Text: b.losses})
	}
	return d
}

func (b *trialBook) overview() paper.Section {
	t := &paper.Table{Name: "participants", Heads: []string{"participant", "days", "observed", "seated a day", "shifts", "reliefs", "transfers"}}
	for _, p := range b.participants {
		all := p.sum()
		cells := []string{p.code, fmt.Sprint(len(p.days)), paper.Share(all.known, all.watched), p.seated()}
		for i := range all.counts {
			cells = append(cells, all.rate(i))
		}
		t.Add(cells...)
	}
	return paper.Section{Title: "Participants", Table: t, Notes: []string{
		"Seated a day: mean of the days on which that is known, and the standard deviation of a day. Shifts, reliefs and transfers: per hour seated, – for less than half an hour.",
	}}
}

// seated is the mean time seated a day, with the standard deviation where there are
// two days and more.
func (p *participant) seated() string {
	var sum, squares float64
	n := 0.0
	for _, d := range p.days {
		if d.known > 0 {
			h := d.seated.Hours()
			sum, squares, n = sum+h, squares+h*h, n+1
		}
	}
	if n == 0 {
		return paper.NotKnown
	}
	mean := paper.Lasting(time.Duration(sum / n * float64(time.Hour)))
	if n == 1 {
		return mean
	}
	sd := math.Sqrt(max(0, (squares-sum*sum/n)/(n-1)))
	return mean + " (SD " + paper.Lasting(time.Duration(sd*float64(time.Hour))) + ")"
}

// rate is how often somebody did it per hour seated; of a short time there is none.
func (d *day) rate(i int) string {
	switch {
	case d.longest.Known == 0:
		return paper.NotKnown
	case d.seated < leastForRate:
		return "–"
	}
	return fmt.Sprintf("%.2f", float64(d.counts[i])/d.seated.Hours())
}

// count is what was counted; where nothing was known, nothing is.
func (d *day) count(i int) string {
	if d.longest.Known == 0 {
		return paper.NotKnown
	}
	return fmt.Sprint(d.counts[i])
}

// bare is a value whose unit stands at the head of its column, so that all columns have
// room on a page.
func bare(v float64, unit string) string {
	return strings.TrimRight(strings.TrimSuffix(paper.Value(v, math.NaN(), unit), unit), " \u00a0")
}

// daysOf is the section of one participant.
func (b *trialBook) daysOf(p *participant) paper.Section {
	t := &paper.Table{Name: "days of " + p.code, Heads: []string{"day", "observed", "seated", "shifts", "reliefs", "transfers", "longest with none", "pressure, mmHg", "exposure, mmHg h"}}
	if b.exposed {
		t.Heads = append(t.Heads, "tolerance used")
	}
	row := func(name string, d *day) []string {
		seated := paper.NotKnown
		if d.known > 0 {
			seated = paper.Lasting(d.seated)
		}
		cells := []string{name, paper.Share(d.known, d.watched), seated, d.count(0), d.count(1), d.count(2), sitting(&d.longest),
			bare(d.pressure.Mean(), "mmHg"), bare(d.pressure.Dose(), "mmHg h")}
		if b.exposed {
			cells = append(cells, paper.Value(100*d.used, math.NaN(), "%"))
		}
		return cells
	}
	for _, d := range p.days {
		t.Add(row(d.begins.Format("2\u00a0Jan\u00a02006"), d)...)
	}
	if len(p.days) > 1 {
		t.Rows = append(t.Rows, paper.Row{Cells: row("all", p.sum()), Sum: true})
	}
	s := paper.Section{Title: "Participant " + p.code, Table: t}
	if len(p.days) == 0 {
		s.Table, s.Text = nil, []string{"Nothing is known of the sessions."}
	}
	return s
}
