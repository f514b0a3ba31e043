package report

import (
	"cmp"
	"context"
	"fmt"

	"weald/ingest/sample"
	"weald/stream/report/paper"
	"weald/stream/sessions"
)

// Session is the report of one session.
func (s *Source) Session(ctx context.Context, id string) (*paper.Document, error) {
	one, err := s.find(ctx, id)
	if err != nil {
		return nil, err
	}
	x, err := s.open(ctx, one.Place, one.From, one.To)
	if err != nil {
		return nil, err
	}
	d := &paper.Document{Title: fmt.Sprintf("Session of %s at %s", one.Code, one.Place), Program: s.Program}
	times := s.times()
	ended := "lasts"
	if !one.Lasts() {
		ended = times.Full(one.To)
	}
	d.Facts = []paper.Fact{
		{Name: "person", Value: one.Code}, {Name: "place", Value: one.Place + ", " + string(x.place.Kind)},
		{Name: "began", Value: times.Full(one.From)}, {Name: "ended", Value: ended},
	}
	if err := x.account(d); err != nil {
		return nil, err
	}
	d.Facts = append(d.Facts, paper.Fact{Name: "session", Value: one.ID})
	if len(one.Notes) > 0 {
		d.Sections = append(d.Sections, noteSection(one.Notes, times))
	}
	return d, nil
}

func noteSection(notes []sessions.Note, times paper.Times) paper.Section {
	t := &paper.Table{Name: "notes", Told: true, Heads: []string{"when", "who", "note"}}
	for _, n := range notes {
		t.Add(times.Short(n.At), cmp.Or(n.Author, "not signed"), n.Text)
	}
	return paper.Section{Title: "Notes", Table: t}
}

// account reads the stretch and adds to a document all that there is to say of it.
func (x *stretch) account(d *paper.Document) error {
	p := x.pressures()
	body, able := x.body()
	if err := x.read(); err != nil {
		return err
	}
	switch least := p.least(); {
	case x.excerpt == nil:
		d.Lead = append(d.Lead, "No readings are kept of this time: what was measured is not known.")
	case least < x.span()*9/10:
		d.Lead = append(d.Lead, fmt.Sprintf("Only %s of the time was observed. What was in the rest is not known, and what follows is of the time that was observed.", paper.Share(least, x.span())))
	}
	alerts, quiet, err := x.alerts()
	if err != nil {
		return err
	}
	d.Facts = append(d.Facts, paper.Fact{Name: "how long", Value: lasting(x.span())},
		paper.Fact{Name: "observed", Value: paper.Share(p.least(), x.span()) + " of the time"}, paper.Fact{Name: "last reading", Value: x.lastReading()},
		paper.Fact{Name: "times", Value: x.Zone.String()})
	if able {
		d.Lead = append(d.Lead, body.lead()...)
		d.Sections = append(d.Sections, body.section())
	}
	d.Lead = append(d.Lead, p.lead()...)
	d.Sections = append(d.Sections, p.section())
	if drawings := p.drawings(alerts); len(drawings) > 0 {
		d.Sections = append(d.Sections, paper.Section{Title: "Pressure over time", Drawings: drawings})
	}
	d.Sections = append(d.Sections, x.alertSection(alerts, quiet))
	marks, err := x.marks()
	if err != nil {
		return err
	}
	calibrations, err := x.calibrations()
	if err != nil {
		return err
	}
	force, err := x.force()
	if err != nil {
		return err
	}
	d.Sections = append(d.Sections, marks, force, calibrations)
	d.Sections = append(d.Sections, x.lost()...)
	return nil
}

func (x *stretch) lastReading() string {
	if x.follower.Last == sample.Past {
		return "none"
	}
	return x.times().Full(x.follower.Last)
}
