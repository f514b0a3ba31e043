package api

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/access/guesses"
	"weald/stream/pipeline"
	"weald/stream/view"
)

// mySeatBody is all that a link shows of the present: its own seat, and nothing else.
type mySeatBody struct {
	Place     string     `json:"place"`
	At        time.Time  `json:"at" doc:"The seat's present"`
	Heard     *time.Time `json:"heard" doc:"When its newest evaluated scan was taken; null before the first"`
	Zone      string     `json:"zone" doc:"The IANA name of the zone in which people here read times; empty where the host does not tell"`
	State     string     `json:"state" enum:"seated,easing,away,unknown" doc:"easing: what counts as relief is being held, or has been and still is; away: there is nobody"`
	SinceS    *float64   `json:"since_s" doc:"For how long somebody has been seated with nothing that counts; null while nobody knows"`
	IntervalS *float64   `json:"interval_s" doc:"For how long that may be by the rule of the seat; null where there is none"`
	DueAt     *time.Time `json:"due_at" doc:"When it will have been that long, or was, if nothing changes; null while that time does not run"`
	EasingS   float64    `json:"easing_s" doc:"For how long what counts has been held"`
	LastingS  float64    `json:"lasting_s" doc:"How long it has to last; 0 while nothing of it is held"`
}

type seatShift struct {
	At   time.Time `json:"at"`
	Kind string    `json:"kind" enum:"shift,relief,transfer"`
}

type mySeatDayBody struct {
	From     time.Time `json:"from" doc:"Midnight where the daemon is"`
	To       time.Time `json:"to"`
	SeatedS  float64   `json:"seated_s" doc:"How long somebody was seated, to the minute"`
	UnknownS float64   `json:"unknown_s" doc:"For how long nobody knows"`
	Shifts   int       `json:"shifts" doc:"Weight shifts, by the bounds of Sonenblum 2016, as are the others"`
	Reliefs  int       `json:"reliefs" doc:"Pressure reliefs"`
	Outs     int       `json:"transfers" doc:"Times out of the seat"`

	Last []seatShift `json:"last" nullable:"false" maxItems:"10" doc:"The latest ones, the newest first, to the minute"`
}

// throughLink describes a route that a link's key opens. Its handler learns the place
// from seatOf.
func (s *server) throughLink(api huma.API, id, summary string) huma.Operation {
	op := operation(id, summary, http.StatusUnauthorized, http.StatusTooManyRequests)
	op.Security = []map[string][]string{{bySeat: {}}}
	op.Middlewares = huma.Middlewares{func(ctx huma.Context, next func(huma.Context)) {
		refuse := func(status int, why string) { _ = huma.WriteErr(api, ctx, status, why) } // fails only when the client is gone
		if s.Links == nil {
			refuse(http.StatusServiceUnavailable, "there are no links: the configuration names no folder for the record")
			return
		}
		from, now := guesses.Household(guesses.Address(ctx.RemoteAddr(), ctx.Header("X-Forwarded-For"))), time.Now()
		if ok, wait := s.guesses.Allowed(from, now); !ok {
			ctx.SetHeader("Retry-After", fmt.Sprint(math.Ceil(wait.Seconds())))
			refuse(http.StatusTooManyRequests, "too many keys that open nothing came from there: wait a while")
			return
		}
		kind, key, _ := strings.Cut(ctx.Header("Authorization"), " ")
		place, ok := s.Links.Open(key, sample.At(now))
		i, err := s.place(place)
		if !ok || err != nil || !strings.EqualFold(kind, "Bearer") {
			s.guesses.Wrong(from, now)
			ctx.SetHeader("WWW-Authenticate", "Bearer")
			refuse(http.StatusUnauthorized, "this link opens nothing: it was withdrawn, or never was one")
			return
		}
		next(huma.WithValue(ctx, seatKey{}, i))
	}}
	return op
}

type seatKey struct{}

// seatOf is the place that the key of a request opens.
func seatOf(ctx context.Context) int { return ctx.Value(seatKey{}).(int) }

func (s *server) addMySeat(api huma.API) {
	huma.Register(api, s.throughLink(api, "my-seat", "How the sitter of a link's seat sits now"), s.mySeat)
	huma.Register(api, s.throughLink(api, "my-seat-day", "What the sitter of a link's seat has done today"), s.mySeatDay)
}

func (s *server) mySeat(ctx context.Context, _ *struct{}) (*answer[mySeatBody], error) {
	i := seatOf(ctx)
	var a answer[mySeatBody]
	err := s.ask(ctx, func(st *pipeline.State) {
		x, heard, _ := st.Sitting(i)
		a.Body = mySeatOf(&x, st.PlaceNow(i))
		a.Body.Heard = view.Moment(heard)
	})
	a.Body.Place, a.Body.Zone = s.Plan.Places[i].ID, s.Zone
	return &a, err
}

func mySeatOf(x *rules.Sitting, now sample.Instant) mySeatBody {
	b := mySeatBody{At: now.Time(), State: "unknown", EasingS: x.Easing.Seconds(), LastingS: x.Lasting.Seconds()}
	if x.Interval > 0 {
		b.IntervalS = view.Number(x.Interval.Seconds())
	}
	if x.Seated == sample.Maybe {
		return b
	}
	b.SinceS = view.Number(x.Since.Seconds())
	switch {
	case x.Lasting > 0:
		b.State = "easing"
	case x.Seated == sample.No:
		b.State = "away"
	default:
		b.State = "seated"
		if x.Interval > 0 {
			b.DueAt = view.Moment(now.Add(x.Interval - x.Since))
		}
	}
	return b
}

func (s *server) mySeatDay(ctx context.Context, _ *struct{}) (*answer[mySeatDayBody], error) {
	d, err := s.seatDay(ctx, seatOf(ctx))
	if err != nil {
		return nil, err
	}
	return &answer[mySeatDayBody]{*d}, nil
}
