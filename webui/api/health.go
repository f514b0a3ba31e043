package api

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"weald/rules"
	"weald/stream/access"
	"weald/stream/pipeline"
	"weald/stream/view"
	"weald/webui/route"
)

// readyWithin is how long the pipeline may take to answer whoever asks.
const readyWithin = time.Second

type healthBody struct {
	Status  string `json:"status" enum:"alive"`
	Version string `json:"version"`
}

type readyBody struct {
	Ready   bool     `json:"ready"`
	Reasons []string `json:"reasons" nullable:"false" doc:"Why it is not, one sentence each"`
}

type readyOutput struct {
	Status int
	Body   readyBody
}

func (s *server) addHealth(api huma.API) {
	huma.Register(api, probe("healthz", "Whether the daemon is alive"),
		func(context.Context, *struct{}) (*answer[healthBody], error) {
			return &answer[healthBody]{Body: healthBody{Status: "alive", Version: s.Version}}, nil
		})
	ready := probe("readyz", "Whether it can do its job, and why not (200 or 503)")
	huma.Register(api, ready, func(ctx context.Context, _ *struct{}) (*readyOutput, error) {
		out := &readyOutput{Status: http.StatusOK}
		out.Body.Reasons = s.reasons(ctx)
		if out.Body.Ready = len(out.Body.Reasons) == 0; !out.Body.Ready {
			out.Status = http.StatusServiceUnavailable
			if !access.From(ctx).Role.May(route.Of("bridges").Least) { // which has what they are about
				out.Body.Reasons = []string{"it says why to those who have logged in"}
			}
		}
		return out, nil
	})
	op := api.OpenAPI().Paths["/readyz"].Get
	op.Responses["503"] = &huma.Response{Description: "It cannot", Content: op.Responses["200"].Content}
}

// probe describes a route that machines ask, which always answers.
func probe(id, summary string) huma.Operation {
	op := operation(id, summary)
	op.Errors = nil
	return op
}

// reasons says everything that keeps the daemon from its job.
func (s *server) reasons(ctx context.Context) []string {
	reasons := []string{}
	say := func(format string, args ...any) { reasons = append(reasons, fmt.Sprintf(format, args...)) }

	ctx, cancel := context.WithTimeout(ctx, readyWithin)
	defer cancel()
	var unjudged []string
	if err := s.Pipeline.Do(ctx, func(st *pipeline.State) { unjudged = s.unjudged(st) }); err != nil {
		say("the pipeline does not answer: %v", err)
	}
	for _, b := range s.Bridges() {
		switch {
		case b.Trouble != "":
			say("bridge %s: %s", b.ID, b.Trouble)
		case b.State != "open" && b.State != "ended":
			say("bridge %s is not open yet: %s", b.ID, b.State)
		}
		for _, source := range b.Sources {
			switch {
			case source.Trouble != "":
				say("source %s: %s", source.ID, source.Trouble)
			case source.LastScanAt == nil:
				say("source %s has delivered nothing yet", source.ID)
			}
		}
	}
	if s.Troubles != nil {
		reasons = append(reasons, s.Troubles()...)
	}
	reasons = append(reasons, unjudged...)
	for i := range s.Plan.Sources {
		if source := &s.Plan.Sources[i]; !source.Calibrated && used(s.Plan, i) {
			say("source %s is not calibrated: its places show no pressure", source.ID)
		}
	}
	return reasons
}

// unjudged says which readings arrive and cannot be judged.
func (s *server) unjudged(st *pipeline.State) (reasons []string) {
	for i := range s.Plan.Sources {
		if source := &s.Plan.Sources[i]; source.Calibrated && used(s.Plan, i) && st.Blank(i) {
			reasons = append(reasons, fmt.Sprintf("source %s delivers scans without a single valid reading", source.ID))
		}
	}
	for i := range s.Plan.Places {
		if st.Stalled(i) && st.Arriving(i) {
			reasons = append(reasons, fmt.Sprintf("place %s: %s", s.Plan.Places[i].ID, view.NoneNewer))
		}
	}
	return reasons
}

// used reports whether any place rests on a source.
func used(plan *rules.Plan, source int) bool {
	return slices.ContainsFunc(plan.Places, func(p rules.Place) bool { return p.Uses(source) })
}
