package api

import (
	"context"
	"crypto/rand"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"weald/rules/attempt"
	"weald/rules/compression"
	"weald/stream/access"
	"weald/stream/pipeline"
	"weald/stream/record"
	"weald/stream/tries"
	"weald/stream/view"
)

type attemptsInput struct {
	Place  string `query:"place" doc:"Only tries at this place"`
	Code   string `query:"code" doc:"Only tries of this person"`
	Lesson string `query:"lesson" doc:"Only tries of this lesson"`
	State  string `query:"state" enum:"running,ended,left" doc:"Only those in this state"`
	Newest int    `query:"newest" default:"500" minimum:"1" maximum:"5000" doc:"How many at most, those that began last"`
}

type attemptInput struct {
	Attempt string `path:"attempt" doc:"The try's id"`
}

type newAttempt struct {
	Body struct {
		Place   string     `json:"place" minLength:"1" maxLength:"64" doc:"A place of the kind wrap"`
		Code    string     `json:"code" maxLength:"64" doc:"Stands for who puts the wrap on, such as K-07; what looks like a name is refused"`
		Lesson  string     `json:"lesson,omitempty" maxLength:"64" doc:"Stands for a class that learns together, of the same form, such as L-3"`
		Author  string     `json:"author,omitempty" maxLength:"64" doc:"Who leads it"`
		Scheme  string     `json:"scheme,omitempty" maxLength:"64" doc:"The standard whose class is aimed for, of /api/v1/compression; without it the bands are those given, or of the configuration"`
		Class   string     `json:"class,omitempty" maxLength:"64"`
		Newtons float64    `json:"newtons,omitempty" minimum:"0" maximum:"500" doc:"The pull on the whole width of the bandage, N; 0 where not known, as for the others"`
		Layers  float64    `json:"layers,omitempty" minimum:"0" maximum:"20" doc:"That lie over each other"`
		WidthCM float64    `json:"width_cm,omitempty" minimum:"0" maximum:"50"`
		Sites   []siteWish `json:"sites,omitempty" nullable:"false" maxItems:"100" doc:"What differs from the configuration"`
		Notes   string     `json:"notes,omitempty" maxLength:"4000" doc:"No names"`
	}
}

type siteWish struct {
	ID      string   `json:"id" maxLength:"64"`
	GirthCM float64  `json:"girth_cm,omitempty" minimum:"0" maximum:"200"`
	Low     *float64 `json:"low,omitempty" minimum:"0" doc:"mmHg; without a scheme, and together with high"`
	High    *float64 `json:"high,omitempty" minimum:"0"`
}

type readInput struct {
	Attempt string `path:"attempt" doc:"The try's id"`
	Body    struct {
		Step attempt.Step `json:"step" enum:"bare,applied,lying,standing,walking" doc:"What the limb does now, which is read. A step that was read before is read again, and those after it are forgotten; one that is passed over is not known"`
		Seen int          `json:"seen" minimum:"0" doc:"How many readings the try has as far as the asker knows: nothing is read where it has others"`
	}
}

type endInput struct {
	Attempt string `path:"attempt" doc:"The try's id"`
	Body    struct {
		Notes  string `json:"notes,omitempty" maxLength:"4000" doc:"No names"`
		Author string `json:"author,omitempty" maxLength:"64"`
	}
}

func (s *server) addAttempts(api huma.API) {
	huma.Register(api, operation("attempts", "Tries at putting on a wrap, with what came of them", 422), s.listAttempts)
	huma.Register(api, operation("attempt", "One try", 404), s.oneAttempt)
	huma.Register(api, noted("begin-attempt", "Begin a try; it is on the disk when this is answered, as are its readings", 404, 409), s.beginAttempt)
	huma.Register(api, noted("read-attempt", "Read what the sensors show at a step of a try", 404, 409), s.readAttempt)
	huma.Register(api, noted("end-attempt", "End a try", 404, 409), s.closeAttempt(tries.Ended))
	huma.Register(api, noted("leave-attempt", "Break a try off: it is kept, and counts for nothing", 404, 409), s.closeAttempt(tries.Left))
	table := operation("attempts-csv", "Tries as a table, a row for each site", 422)
	table.Responses = map[string]*huma.Response{"200": {Description: "RFC 4180", Content: map[string]*huma.MediaType{
		"text/csv": {Schema: &huma.Schema{Type: "string"}},
	}}}
	huma.Register(api, table, s.attemptsTable)
}

// A try is what the record says of one.
type try struct {
	attemptView
	plan     attempt.Plan
	readings []attempt.Reading
}

// tries returns the tries that q picks, the one that began first comes first.
func (s *server) tries(ctx context.Context, q *attemptsInput) ([]*try, error) {
	if err := s.recording(); err != nil {
		return nil, err
	}
	kept, err := tries.All(ctx, s.Record, q.Place, nil)
	if err != nil {
		return nil, huma.Error503ServiceUnavailable("the record cannot be read: " + err.Error())
	}
	var all []*try
	for _, k := range kept {
		all = append(all, &try{plan: k.Plan, readings: k.Readings, attemptView: attemptView{ID: k.ID, Place: k.Place, Code: k.Code, Lesson: k.Lesson,
			Author: k.Author, Config: k.Config, BegunAt: k.From.Time(), EndedAt: view.Moment(k.To), State: k.State, Notes: notesOf(k.Notes)}})
	}
	all = slices.DeleteFunc(all, func(t *try) bool {
		return q.Code != "" && t.Code != q.Code || q.Lesson != "" && t.Lesson != q.Lesson || q.State != "" && t.State != q.State
	})
	if q.Newest > 0 && len(all) > q.Newest {
		all = all[len(all)-q.Newest:]
	}
	return all, nil
}

func (s *server) listAttempts(ctx context.Context, in *attemptsInput) (*answer[attemptsBody], error) {
	all, err := s.tries(ctx, in)
	a := &answer[attemptsBody]{Body: attemptsBody{Attempts: []attemptView{}, OverEstimate: compression.OverEstimate}}
	for _, t := range all {
		a.Body.Attempts = append(a.Body.Attempts, t.view())
	}
	return a, err
}

func (s *server) find(ctx context.Context, id string) (*try, error) {
	all, err := s.tries(ctx, &attemptsInput{})
	if err != nil {
		return nil, err
	}
	for _, t := range all {
		if t.ID == id {
			return t, nil
		}
	}
	return nil, huma.Error404NotFound(fmt.Sprintf("there is no try %q", id))
}

func (s *server) oneAttempt(ctx context.Context, in *attemptInput) (*answer[attemptView], error) {
	t, err := s.find(ctx, in.Attempt)
	if err != nil {
		return nil, err
	}
	return &answer[attemptView]{t.view()}, nil
}

func (s *server) beginAttempt(ctx context.Context, in *newAttempt) (*answer[attemptView], error) {
	b := &in.Body
	i, err := s.beginning(b.Place, b.Code)
	if err != nil {
		return nil, err
	}
	if b.Lesson != "" {
		if err := codeError("lesson", b.Lesson); err != nil {
			return nil, err
		}
	}
	plan, err := s.planned(ctx, i, in)
	if err != nil {
		return nil, err
	}
	at, err := s.when(ctx, i, time.Time{})
	if err != nil {
		return nil, err
	}
	if err := s.author(ctx, &b.Author); err != nil {
		return nil, err
	}
	s.attempts.Lock() // nobody begins another one between the look and the note
	defer s.attempts.Unlock()
	running, err := s.tries(ctx, &attemptsInput{Place: b.Place, State: "running"})
	if err != nil {
		return nil, err
	}
	if len(running) > 0 {
		return nil, huma.Error409Conflict(fmt.Sprintf("%s is still at it at %s: end that first, or leave it", running[0].Code, b.Place))
	}
	id := "a-" + strings.ToLower(rand.Text()[:10])
	_, err = s.note(ctx, record.Entry{At: at, Place: b.Place, Author: b.Author,
		Body: record.Attempt{ID: id, What: tries.Begun, Code: b.Code, Lesson: b.Lesson, Config: s.Config, Plan: plan, Notes: b.Notes}})
	if err != nil {
		return nil, err
	}
	return s.oneAttempt(ctx, &attemptInput{id})
}

// planned is what a new try aims for.
func (s *server) planned(ctx context.Context, place int, in *newAttempt) (*attempt.Plan, error) {
	b := &in.Body
	of := &s.Plan.Places[place]
	if of.Kind != "wrap" || len(of.Sites) == 0 {
		return nil, huma.Error422UnprocessableEntity("place: " + of.ID + " is no wrap with sites")
	}
	var sites []view.Site
	if err := s.ask(ctx, func(st *pipeline.State) { sites = st.Place(place).Sites }); err != nil {
		return nil, err
	}
	p := &attempt.Plan{Wrapping: compression.Wrapping{Newtons: b.Newtons, Layers: b.Layers, WidthCM: b.WidthCM}}
	for _, k := range of.DistalFirst() {
		site := attempt.Site{ID: sites[k].ID, HeightCM: of.Sites[k].HeightCM, Aim: attempt.Open}
		if c := sites[k].CircumferenceCM; c != nil {
			site.GirthCM = *c
		}
		if t := sites[k].Target; t != nil {
			site.Aim = attempt.Band{Low: t[0], High: t[1]}
		}
		p.Sites = append(p.Sites, site)
	}
	for _, w := range b.Sites {
		k := slices.IndexFunc(p.Sites, func(site attempt.Site) bool { return site.ID == w.ID })
		if k < 0 {
			return nil, huma.Error422UnprocessableEntity(fmt.Sprintf("sites: %s has no site %q", of.ID, w.ID))
		}
		if w.GirthCM > 0 {
			p.Sites[k].GirthCM = w.GirthCM
		}
		switch {
		case w.Low == nil && w.High == nil:
		case w.Low == nil || w.High == nil || !(*w.High > *w.Low):
			return nil, huma.Error422UnprocessableEntity(fmt.Sprintf("sites: the target of %s needs a lower and a higher pressure", w.ID))
		default:
			p.Sites[k].Aim = attempt.Band{Low: *w.Low, High: *w.High}
		}
	}
	if b.Scheme == "" && b.Class == "" {
		return p, nil
	}
	scheme := compression.Named(b.Scheme)
	if scheme == nil || scheme.Class(b.Class) == nil {
		return nil, huma.Error422UnprocessableEntity(fmt.Sprintf("class: there is no class %q of %q", b.Class, b.Scheme))
	}
	p.Aim(scheme, scheme.Class(b.Class))
	return p, nil
}

func (s *server) readAttempt(ctx context.Context, in *readInput) (*answer[attemptView], error) {
	s.attempts.Lock()
	defer s.attempts.Unlock()
	t, i, err := s.running(ctx, in.Attempt)
	if err != nil {
		return nil, err
	}
	if len(t.readings) != in.Body.Seen {
		return nil, huma.Error409Conflict("somebody else has read a step of it meanwhile")
	}
	r := attempt.Reading{Step: in.Body.Step, Values: make([]attempt.Value, len(t.plan.Sites))}
	err = s.ask(ctx, func(st *pipeline.State) {
		r.At = st.PlaceNow(i)
		signals := st.Signals(i)
		for k := range t.plan.Sites {
			r.Values[k] = attempt.Value{MMHg: math.NaN(), U: math.NaN(), Shared: math.NaN()}
			for n := range signals {
				if sig := &signals[n]; sig.Name == t.plan.Sites[k].ID+"."+r.Step.Quantity() && st.Current(i, sig) {
					r.Values[k] = attempt.Value{MMHg: sig.Value, U: sig.U, Shared: sig.Shared}
				}
			}
		}
	})
	if err != nil {
		return nil, err
	}
	if v := r.Values[0].MMHg; v != v {
		return nil, huma.Error409Conflict(t.plan.Sites[0].ID + notYet[r.Step.Quantity()])
	}
	_, err = s.note(ctx, record.Entry{At: r.At, Place: t.Place, Author: access.From(ctx).Author(""),
		Body: record.Attempt{ID: t.ID, What: tries.Read, Code: t.Code, Lesson: t.Lesson, Config: s.Config, Read: &r}})
	if err != nil {
		return nil, err
	}
	return s.oneAttempt(ctx, &attemptInput{t.ID})
}

// notYet says, behind a site, why there is nothing to be read of it.
var notYet = map[string]string{
	"pressure": " has no reading: see to its sensors",
	"resting":  " cannot be read yet: the leg has to be still for some seconds",
	"swing":    " cannot be read yet: some even steps are needed, and ten readings for each stride",
}

// running finds a try that goes on, and the place where it does.
func (s *server) running(ctx context.Context, id string) (*try, int, error) {
	t, err := s.find(ctx, id)
	if err != nil {
		return nil, 0, err
	}
	if t.EndedAt != nil {
		return nil, 0, huma.Error409Conflict(fmt.Sprintf("this try of %s was over at %s", t.Code, t.EndedAt.Format(time.RFC3339)))
	}
	i, err := s.place(t.Place)
	return t, i, err
}

// closeAttempt returns what ends a try.
func (s *server) closeAttempt(what string) func(context.Context, *endInput) (*answer[attemptView], error) {
	return func(ctx context.Context, in *endInput) (*answer[attemptView], error) {
		if err := s.author(ctx, &in.Body.Author); err != nil {
			return nil, err
		}
		s.attempts.Lock()
		defer s.attempts.Unlock()
		t, i, err := s.running(ctx, in.Attempt)
		if err != nil {
			return nil, err
		}
		at, err := s.when(ctx, i, time.Time{})
		if err != nil {
			return nil, err
		}
		_, err = s.note(ctx, record.Entry{At: at, Place: t.Place, Author: in.Body.Author,
			Body: record.Attempt{ID: t.ID, What: what, Code: t.Code, Lesson: t.Lesson, Config: s.Config, Notes: in.Body.Notes}})
		if err != nil {
			return nil, err
		}
		return s.oneAttempt(ctx, &attemptInput{t.ID})
	}
}
