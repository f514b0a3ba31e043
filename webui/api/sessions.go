package api

import (
	"context"
	"crypto/rand"
	"fmt"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"weald/stream/record"
	"weald/stream/sessions"
	"weald/stream/view"
)

type session struct {
	ID      string        `json:"id"`
	Place   string        `json:"place"`
	Code    string        `json:"code" doc:"Stands for a person; never a name"`
	Config  uint64        `json:"config" doc:"The version of the configuration that was in force when it began"`
	BegunAt time.Time     `json:"begun_at"`
	EndedAt *time.Time    `json:"ended_at" doc:"null while it lasts"`
	Notes   []sessionNote `json:"notes" nullable:"false"`

	Readings string `json:"readings" enum:"kept,partly,gone" doc:"What the record still has of the readings during it: partly or gone where keep: has had them deleted"`
}

type sessionNote struct {
	At     time.Time `json:"at"`
	Author string    `json:"author"`
	Text   string    `json:"text"`
}

type sessionsInput struct {
	Place  string `query:"place" doc:"Only sessions at this place"`
	Code   string `query:"code" doc:"Only sessions of this person"`
	Lasts  bool   `query:"lasts" doc:"Only sessions that have not ended"`
	Newest int    `query:"newest" default:"500" minimum:"1" maximum:"5000" doc:"How many at most, those that began last"`
}

type sessionsBody struct {
	Sessions []session `json:"sessions" nullable:"false" doc:"The one that began first comes first"`
}

type sessionInput struct {
	Session string `path:"session" doc:"The session's id"`
}

type beginInput struct {
	Body struct {
		Place  string    `json:"place" minLength:"1" maxLength:"64" doc:"The place's id in the configuration"`
		Code   string    `json:"code" maxLength:"200" doc:"Stands for a person, such as K-07: one to four capital letters, a hyphen, one to six digits. What looks like a name is refused"`
		At     time.Time `json:"at,omitempty" doc:"When it began; the place's present without it"`
		Notes  string    `json:"notes,omitempty" maxLength:"4000" doc:"No names here either"`
		Author string    `json:"author,omitempty" maxLength:"64" doc:"Who begins it"`
	}
}

type stepInput struct {
	Session string `path:"session" doc:"The session's id"`
	Body    struct {
		At     time.Time `json:"at,omitempty" doc:"When that was; the place's present without it"`
		Notes  string    `json:"notes,omitempty" maxLength:"4000" doc:"No names"`
		Author string    `json:"author,omitempty" maxLength:"64" doc:"Who says so"`
	}
}

func (s *server) addSessions(api huma.API) {
	huma.Register(api, operation("sessions", "Sessions: who was at which place, by code, and when", 422), s.listSessions)
	huma.Register(api, operation("session", "One session", 404), s.oneSession)
	huma.Register(api, noted("begin-session", "Begin a session; it is on the disk when this is answered", 404, 409), s.beginSession)
	huma.Register(api, noted("end-session", "End a session", 404, 409), s.step(sessions.Ended))
	huma.Register(api, noted("note-session", "Add a note to a session, also after its end", 404), s.step(sessions.Noted))
}

// readSessions returns the sessions at a place, "" for all, by their begin.
func (s *server) readSessions(ctx context.Context, place string) ([]session, error) {
	if err := s.recording(); err != nil {
		return nil, err
	}
	read, err := sessions.Read(ctx, s.Record, place, nil)
	if err != nil {
		return nil, huma.Error503ServiceUnavailable("the record cannot be read: " + err.Error())
	}
	all := make([]session, len(read))
	for i := range read {
		all[i] = sessionOf(&read[i])
	}
	s.reach(all)
	return all, nil
}

func sessionOf(s *sessions.Session) session {
	return session{ID: s.ID, Place: s.Place, Code: s.Code, Config: s.Config, BegunAt: s.From.Time(), EndedAt: view.Moment(s.To), Notes: notesOf(s.Notes)}
}

func notesOf(notes []sessions.Note) []sessionNote {
	out := make([]sessionNote, len(notes))
	for i, n := range notes {
		out[i] = sessionNote{At: n.At.Time(), Author: n.Author, Text: n.Text}
	}
	return out
}

// reach says of sessions whether the record reaches back to them.
func (s *server) reach(all []session) {
	var k Kept
	if s.Kept != nil {
		k = s.Kept()
	}
	for i := range all {
		one := &all[i]
		switch {
		case !k.Deleted:
			one.Readings = "kept"
		case one.EndedAt != nil && one.EndedAt.Before(k.Since):
			one.Readings = "gone"
		case one.BegunAt.Before(k.Since):
			one.Readings = "partly"
		default:
			one.Readings = "kept"
		}
	}
}

func (s *server) listSessions(ctx context.Context, in *sessionsInput) (*answer[sessionsBody], error) {
	all, err := s.readSessions(ctx, in.Place)
	if err != nil {
		return nil, err
	}
	a := &answer[sessionsBody]{Body: sessionsBody{Sessions: []session{}}}
	for _, one := range all {
		if (in.Code == "" || one.Code == in.Code) && !(in.Lasts && one.EndedAt != nil) {
			a.Body.Sessions = append(a.Body.Sessions, one)
		}
	}
	if n := len(a.Body.Sessions); n > in.Newest {
		a.Body.Sessions = a.Body.Sessions[n-in.Newest:]
	}
	return a, nil
}

func (s *server) oneSession(ctx context.Context, in *sessionInput) (*answer[session], error) {
	all, err := s.readSessions(ctx, "")
	if err != nil {
		return nil, err
	}
	for _, one := range all {
		if one.ID == in.Session {
			return &answer[session]{one}, nil
		}
	}
	return nil, huma.Error404NotFound(fmt.Sprintf("there is no session %q", in.Session))
}

// beginning returns the number of the place at which something of the person with a code
// is to begin, and be kept.
func (s *server) beginning(place, code string) (int, error) {
	if err := s.recording(); err != nil {
		return 0, err
	}
	i, err := s.place(place)
	if err != nil {
		return 0, err
	}
	return i, codeError("code", code)
}

func (s *server) beginSession(ctx context.Context, in *beginInput) (*answer[session], error) {
	b := &in.Body
	i, err := s.beginning(b.Place, b.Code)
	if err != nil {
		return nil, err
	}
	if err := s.author(ctx, &b.Author); err != nil {
		return nil, err
	}
	at, err := s.when(ctx, i, b.At)
	if err != nil {
		return nil, err
	}
	s.sessions.Lock() // nobody begins another one between the look and the note
	defer s.sessions.Unlock()
	all, err := s.readSessions(ctx, b.Place)
	if err != nil {
		return nil, err
	}
	for _, one := range all {
		if one.EndedAt == nil {
			return nil, huma.Error409Conflict(fmt.Sprintf("session %s of %s at %s has not ended: end it first", one.ID, one.Code, b.Place))
		}
	}
	id := "s-" + strings.ToLower(rand.Text()[:10])
	_, err = s.note(ctx, record.Entry{At: at, Place: b.Place, Author: b.Author,
		Body: record.Session{ID: id, What: sessions.Begun, Code: b.Code, Config: s.Config, Notes: b.Notes}})
	if err != nil {
		return nil, err
	}
	return s.oneSession(ctx, &sessionInput{id})
}

// step returns what adds to a session: its end, or a note.
func (s *server) step(what string) func(context.Context, *stepInput) (*answer[session], error) {
	return func(ctx context.Context, in *stepInput) (*answer[session], error) {
		if err := s.author(ctx, &in.Body.Author); err != nil {
			return nil, err
		}
		s.sessions.Lock()
		defer s.sessions.Unlock()
		found, err := s.oneSession(ctx, &sessionInput{in.Session})
		if err != nil {
			return nil, err
		}
		was := &found.Body
		if what == sessions.Noted && strings.TrimSpace(in.Body.Notes) == "" {
			return nil, huma.Error422UnprocessableEntity("notes: there is nothing in it")
		}
		if what == sessions.Ended && was.EndedAt != nil {
			return nil, huma.Error409Conflict(fmt.Sprintf("session %s ended at %s", was.ID, was.EndedAt.Format(time.RFC3339)))
		}
		i, err := s.place(was.Place)
		if err != nil {
			return nil, err
		}
		at, err := s.when(ctx, i, in.Body.At)
		if err != nil {
			return nil, err
		}
		if at.Time().Before(was.BegunAt) {
			return nil, huma.Error422UnprocessableEntity("at: the session began at " + was.BegunAt.Format(time.RFC3339) + ", which is later")
		}
		_, err = s.note(ctx, record.Entry{At: at, Place: was.Place, Author: in.Body.Author,
			Body: record.Session{ID: was.ID, What: what, Code: was.Code, Config: s.Config, Notes: in.Body.Notes}})
		if err != nil {
			return nil, err
		}
		return s.oneSession(ctx, &sessionInput{was.ID})
	}
}
