package api

import (
	"context"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"weald/stream/journal"
	"weald/stream/pipeline"
	"weald/stream/record"
)

type newMark struct {
	What   string    `json:"what" minLength:"1" maxLength:"64" doc:"What happened, in a word or two: turned, stood up, wrap applied. At a wrap lying and standing, without at, say how the limb rests now, or will once it no longer moves; stiffness goes by them, whatever was recognised"`
	Text   string    `json:"text,omitempty" maxLength:"4000" doc:"More about it. No names: people are known by codes"`
	At     time.Time `json:"at,omitempty" doc:"When it happened; the place's present without it"`
	Author string    `json:"author,omitempty" maxLength:"64" doc:"Who noted it"`
}

type mark struct {
	ID     uint64    `json:"id" doc:"Ascends in the order in which marks were noted"`
	At     time.Time `json:"at"`
	What   string    `json:"what"`
	Text   string    `json:"text"`
	Author string    `json:"author"`
	Judged bool      `json:"judged" doc:"Whether the rules went by it"`
}

type marksInput struct {
	Place  string    `path:"place" doc:"The place's id in the configuration"`
	From   time.Time `query:"from" doc:"Marks of this instant and later"`
	To     time.Time `query:"to" doc:"Marks before this instant"`
	Newest int       `query:"newest" default:"500" minimum:"1" maximum:"5000" doc:"How many at most, those that were noted last"`
}

type marksBody struct {
	Marks []mark `json:"marks" nullable:"false" doc:"In the order of their times"`
}

type markInput struct {
	Place string `path:"place" doc:"The place's id in the configuration"`
	Body  newMark
}

func (s *server) addMarks(api huma.API) {
	huma.Register(api, operation("marks", "What people noted at a place", 404, 422), s.marks)
	huma.Register(api, noted("mark", "Note something at a place; it is on the disk when this is answered", 404), s.mark)
}

func (s *server) marks(ctx context.Context, in *marksInput) (*answer[marksBody], error) {
	if _, err := s.place(in.Place); err != nil {
		return nil, err
	}
	if err := s.recording(); err != nil {
		return nil, err
	}
	q := journal.Query{Kinds: []record.Kind{record.KindMark}, Place: in.Place, Newest: true}
	var err error
	if !in.From.IsZero() {
		if q.Since, err = instantOf(in.From); err != nil {
			return nil, err
		}
	}
	if !in.To.IsZero() {
		if q.Until, err = instantOf(in.To); err != nil {
			return nil, err
		}
	}
	a := &answer[marksBody]{Body: marksBody{Marks: []mark{}}}
	err = s.entries(ctx, q, func(e *record.Entry) bool {
		a.Body.Marks = append(a.Body.Marks, markOf(e))
		return len(a.Body.Marks) < in.Newest
	})
	slices.Reverse(a.Body.Marks)
	slices.SortStableFunc(a.Body.Marks, func(a, b mark) int { return a.At.Compare(b.At) })
	return a, err
}

func (s *server) mark(ctx context.Context, in *markInput) (*answer[mark], error) {
	i, err := s.place(in.Place)
	if err != nil {
		return nil, err
	}
	if err := s.recording(); err != nil {
		return nil, err
	}
	if err := s.author(ctx, &in.Body.Author); err != nil {
		return nil, err
	}
	if in.Body.At.IsZero() && s.Plan.Places[i].GoesBy(in.Body.What) {
		return s.judgedMark(ctx, i, &in.Body)
	}
	e := record.Entry{Place: in.Place, Author: in.Body.Author, Body: record.Mark{What: in.Body.What, Text: in.Body.Text}}
	if e.At, err = s.when(ctx, i, in.Body.At); err != nil {
		return nil, err
	}
	if e.Position, err = s.note(ctx, e); err != nil {
		return nil, err
	}
	return &answer[mark]{markOf(&e)}, nil
}

// judgedMark sets a mark that the rules go by.
func (s *server) judgedMark(ctx context.Context, place int, m *newMark) (*answer[mark], error) {
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	e := record.Entry{Place: s.Plan.Places[place].ID, Author: m.Author, Body: record.Mark{What: m.What, Text: m.Text}}
	if err := e.Check(); err != nil {
		return nil, huma.Error422UnprocessableEntity(err.Error())
	}
	if err := writtenError(e.Body); err != nil {
		return nil, err
	}
	p, at, err := s.Pipeline.Mark(ctx, place, pipeline.Mark{Word: m.What, Text: m.Text, Author: m.Author})
	if err != nil {
		return nil, deedError(err)
	}
	return &answer[mark]{mark{ID: p, At: at.Time(), What: m.What, Text: m.Text, Author: m.Author, Judged: true}}, nil
}

func markOf(e *record.Entry) mark {
	m := e.Body.(record.Mark)
	return mark{ID: uint64(e.Position), At: e.At.Time(), What: m.What, Text: m.Text, Author: e.Author, Judged: e.Ord > 0}
}
