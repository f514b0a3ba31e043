package webui

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"path"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/history"
	"weald/stream/journal/journaltest"
	"weald/stream/order"
	"weald/stream/record"
	"weald/stream/rehearsal"
	"weald/webui/api"
)

// newRehearsingStack is a stack whose record has every signal at 80 for the first
// ten minutes of each hour, and at 40 else.
func newRehearsingStack(t *testing.T) *stack {
	s := newStack(t, built)
	plan := wardPlan()
	seconds := func(int) rehearsal.Seconds {
		return func(_ context.Context, _ string, from, to sample.Instant, dst []record.Point) ([]record.Point, error) {
			for at := from; at < to; at = at.Add(time.Second) {
				v := float32(40)
				if at.Time().Minute() < 10 {
					v = 80
				}
				dst = append(dst, record.Point{At: at, Min: v, Mean: v, Max: v})
			}
			return dst, nil
		}
	}
	sources := &rehearsal.Sources{Plan: plan, Seconds: seconds, Replay: func(_ context.Context, plans []*rules.Plan, _ rehearsal.Options, _ func(float64)) (results []*rehearsal.Result, notes []string, err error) {
		for _, p := range plans {
			results = append(results, &rehearsal.Result{Scans: len(p.Rules)})
		}
		return results, []string{"a block cannot be read"}, nil
	}}
	desk := order.New(filepath.Join(t.TempDir(), "rehearsals"), sources.Make)
	ctx, stop := context.WithCancel(context.Background())
	var running sync.WaitGroup
	running.Go(func() { _ = desk.Run(ctx) })
	t.Cleanup(func() { stop(); running.Wait() })
	mux := http.NewServeMux()
	api.Register(mux, api.Options{
		Plan: plan, Pipeline: s.pipe, Store: history.New(len(plan.Places), s.pipe.Series), Record: new(journaltest.Memory), Config: 7,
		Bridges: func() []api.Bridge { return nil },
		Rehearse: &api.Stage{
			Desk: desk, Seconds: seconds,
			Rules: func(text string) (*rules.Plan, error) {
				if strings.Contains(text, "soul") {
					return nil, errors.New("rules:1:1: nothing is called soul")
				}
				return &rules.Plan{Sources: plan.Sources, Places: plan.Places}, nil
			},
			Proposal: func(rule string, upper bool, limit float64, delay time.Duration) (string, error) {
				return fmt.Sprintf("rules: [%s %t %g %v]", rule, upper, limit, delay), nil
			},
		},
	})
	s.handler = mux
	return s
}

type rehearsed struct {
	ID, State, Of string
	Field         *rehearsal.FieldMade
	Result        *rehearsal.RulesMade
	Notes         []string
}

// rehearsed waits until what was asked for is made.
func (s *stack) rehearsed(rec *httptest.ResponseRecorder) rehearsed {
	s.t.Helper()
	_, after, _ := strings.Cut(rec.Body.String(), `"id":"`)
	id, _, _ := strings.Cut(after, `"`)
	for end := time.Now().Add(30 * time.Second); ; time.Sleep(time.Millisecond) {
		v := decoded[rehearsed](s, "/api/v1/rehearsals/"+id)
		switch {
		case v.State == "made":
			return v
		case v.State == "failed", time.Now().After(end):
			s.t.Fatalf("%+v of %s", v, rec.Body)
		}
	}
}

func TestRehearsalsAreAsDocumented(t *testing.T) {
	s := newRehearsingStack(t)
	c := newContract(t, s)
	const all, one = "/api/v1/rehearsals", "/api/v1/rehearsals/{rehearsal}"
	const span = `"from": "2026-03-01T00:00:00Z", "to": "2026-03-02T00:00:00Z"}`
	const ask = `{"place": "bench-1", "rule": "tight", ` + span
	for body, status := range map[string]int{
		`{"place": "nowhere", "rule": "tight", ` + span:     404,
		`{"place": "bench-1", "rule": "nobody", ` + span:    404,
		`{"place": "bed-4", "rule": "tight", ` + span:       422,
		`{"rules": "soul", ` + span:                         422,
		`{"rules": "x", "rule": "tight", ` + span:           422,
		strings.Replace(ask, "2026-03-01", "2025-03-01", 1): 422,
		strings.Replace(ask, "2026-03-01", "2026-03-03", 1): 422,
	} {
		rec := s.post(all, body)
		if rec.Code != status {
			t.Errorf("%s: %d %s, want %d", body, rec.Code, rec.Body, status)
		}
		c.checkOf("post", all, rec)
	}
	rec := s.post(all, ask)
	c.checkOf("post", all, rec)
	made := s.rehearsed(rec)
	f := made.Field
	if f == nil || len(f.Limits) != rehearsal.FieldSize || f.KnownS != 86400 || f.LimitNow != 60 {
		t.Fatalf("%+v", f)
	}
	seen := 0
	for i, limit := range f.Limits {
		for k, delay := range f.DelaysS {
			// Above it for ten minutes of every hour, for the whole day, or never.
			want := 0
			switch {
			case limit < 40 && delay < 86400:
				want = 1
			case limit >= 40 && limit < 80 && delay <= 600:
				want = 24
				seen++
			}
			if f.Raised[i][k] != want {
				t.Errorf("above %g for %g s: %d, want %d", limit, delay, f.Raised[i][k], want)
			}
		}
	}
	if seen < 20 {
		t.Errorf("%d cells of 24 alerts: %v", seen, f.Limits)
	}
	path := all + "/" + made.ID
	c.check(all, s.get(all))
	c.check(one, s.get(path))
	c.check(one+"/alerts", s.get(path+"/alerts?limit=70&delay_s=300"))
	if got := decoded[struct{ Before, After int }](s, path+"/alerts?limit=80&delay_s=300"); got.Before != 24 || got.After != 0 {
		t.Errorf("%+v", got)
	}
	const propose = one + "/proposals"
	if rec := s.post(path+"/proposals", `{"limit": 70, "delay_s": 300, "author": "Ada Example"}`); rec.Code != 422 {
		t.Errorf("a name was taken: %d", rec.Code)
	}
	rec = s.post(path+"/proposals", `{"limit": 70, "delay_s": 300, "author": "T-1", "why": "too many at night"}`)
	c.checkOf("post", propose, rec)
	c.check("/api/v1/proposals", s.get("/api/v1/proposals"))
	p := decoded[struct {
		Proposals []struct {
			Author, Why, YAML string
			Evidence          struct {
				Alerts [2]int
				Limit  [2]float64
			}
		}
	}](s, "/api/v1/proposals").Proposals
	if len(p) != 1 || p[0].Author != "T-1" || p[0].Evidence.Alerts != [2]int{24, 24} || p[0].Evidence.Limit != [2]float64{60, 70} || p[0].YAML != "rules: [tight true 70 5m0s]" {
		t.Errorf("%+v", p)
	}
	exactly(t, s, c, path)
	cells := s.rehearsed(s.post(all, `{"place": "bed-4", "rule": "loaded", `+span))
	if cells.Field.Signal != "mat.peak" || len(cells.Field.Notes) != 2 {
		t.Errorf("of cells: %+v", cells.Field)
	}
	other := s.rehearsed(s.post(all, `{"rules": "x", "merge": true, `+span))
	if other.Result == nil || other.Result.Scans != len(wardPlan().Rules) || len(other.Notes) != 1 {
		t.Errorf("%+v", other)
	}
	c.check(one, s.get(all+"/"+other.ID))
	c.check(one, s.get(all+"/x-none"))
	c.checkOf("post", one+"/stop", s.post(path+"/stop", ""))
}

// A field's rule with another limit and delay is judged over every reading, and what
// that comes to is kept with a proposal, if it is of that limit and delay.
func exactly(t *testing.T, s *stack, c *contract, field string) {
	t.Helper()
	const exact, propose = "/api/v1/rehearsals/{rehearsal}/exact", "/api/v1/rehearsals/{rehearsal}/proposals"
	rec := s.post(field+"/exact", `{"limit": 70, "delay_s": 300}`)
	c.checkOf("post", exact, rec)
	made := s.rehearsed(rec)
	if made.Result == nil || made.Of != path.Base(field) || len(made.Notes) != 1 {
		t.Fatalf("%+v of %s", made, field)
	}
	for body, status := range map[string]int{
		`{"limit": 70, "delay_s": 301, "author": "T-1", "exact": "` + made.ID + `"}`: 422,
		`{"limit": 70, "delay_s": 300, "author": "T-1", "exact": "x-none"}`:          404,
		`{"limit": 70, "delay_s": 300, "author": "T-1", "exact": "` + made.ID + `"}`: 201,
	} {
		rec := s.post(field+"/proposals", body)
		c.checkOf("post", propose, rec)
		if kept := strings.Contains(rec.Body.String(), `"exactly":{"scans":`); rec.Code != status || kept != (status == 201) {
			t.Errorf("%s: %d %s, want %d", body, rec.Code, rec.Body, status)
		}
	}
	if rec := s.post("/api/v1/rehearsals/"+made.ID+"/exact", `{"limit": 70, "delay_s": 300}`); rec.Code != 422 {
		t.Errorf("what is no field was taken for one: %d", rec.Code)
	}
}
