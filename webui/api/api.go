// Package api answers HTTP requests about places, alerts and bridges in JSON,
// described by an OpenAPI 3.1 document that it serves at /api/v1/openapi.json.
// Errors are RFC 9457 problem details. What is not known is null, never 0.
//
// Handlers ask the pipeline, the history and the record; they hold no state but
// for the trace of the field that was looked at last, which is at most 45 MB, and
// where calibrations are in the record.
package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/netip"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/access"
	"weald/stream/access/directory"
	"weald/stream/access/guesses"
	"weald/stream/calibrating"
	"weald/stream/history"
	"weald/stream/journal"
	"weald/stream/order"
	"weald/stream/pipeline"
	"weald/stream/rehearsal"
	"weald/stream/report"
	"weald/stream/seatlink"
	"weald/webui/route"
)

// Options are what Register needs.
type Options struct {
	Plan     *rules.Plan
	Pipeline *pipeline.Pipeline
	Store    *history.Store

	// Past answers for the time before Store's memory too; nil for Store alone.
	Past func(context.Context, history.Query) (*history.Answer, error)

	// Record keeps what people note, Config is the version of the
	// configuration in it. A nil Record is that of a daemon that keeps nothing.
	Record journal.Log
	Config uint64

	// Exports makes files of the record, Kept says what readings there are in
	// it; both nil where nothing is kept.
	Exports *order.Desk
	Kept    func() Kept

	// Reports makes what people print; nil where nothing is kept.
	Reports *report.Source

	Self        func() Self       // how the daemon itself is; nil where nothing tells
	Senders     func() []Sender   // in the order of the configuration; nil where there are none
	Calibrating *calibrating.Desk // leads calibrations; nil where nothing is kept

	// Links are those to single seats; nil where nothing is kept. Zone is the IANA name
	// of the zone in which people here read times, or "".
	Links *seatlink.Links
	Zone  string

	// Directory shows who somebody is; nil where there is none, or no accounts.
	Directory *directory.Directory

	// Access knows who may do what, on the clock Now; nil where there are no accounts.
	Access *access.Access
	Now    func() sample.Instant

	// Erase begins to take a person out of the record, for whoever asks for it: the daemon
	// ends for that when the request has been answered, and comes back. Nil where nothing
	// is kept.
	Erase func(ctx context.Context, code, by string) error

	// Rehearse is where rules are rehearsed; nil where nothing is kept.
	Rehearse *Stage

	Leaves []Leaving // what leaves this machine by itself

	// Draft judges pieces of the configuration; nil where there is none.
	Draft Draft

	// Configuration is the file and what puts it into force; nil where there is none.
	Configuration Configuration

	Bridges  func() []Bridge // in the order of the configuration; the caller may write to what it gets
	Troubles func() []string // what else keeps the daemon from its job, a sentence each; may be nil
	Version  string
}

// answerWithin is how long a request waits for the pipeline.
const answerWithin = 5 * time.Second

type server struct {
	Options
	sessions sync.Mutex // held while one begins or ends
	index    calibrationIndex
	printing chan struct{}               // holds one: a report is being made
	attempts sync.Mutex                  // held while one goes on by a step
	guesses  guesses.Limit[netip.Prefix] // of keys of links to seats

	traces sync.Mutex
	traced string            // guarded by traces: the field whose trace was read last
	seen   *rehearsal.Second // guarded by traces: nobody changes it
}

// A Mux serves routes of package route.
type Mux interface {
	humago.Mux
	Handler(*http.Request) (h http.Handler, pattern string)
}

// Register adds the routes to mux.
func Register(mux Mux, o Options) {
	if o.Past == nil {
		o.Past = func(_ context.Context, q history.Query) (*history.Answer, error) { return o.Store.Query(q) }
	}
	s := &server{Options: o, printing: make(chan struct{}, 1)}
	// A key has 130 bits; this keeps who guesses from keeping the daemon busy.
	s.guesses.Most, s.guesses.Every, s.guesses.Remembered = 10, 6*time.Second, 1024
	api := humago.New(mux, huma.Config{
		OpenAPI: &huma.OpenAPI{
			OpenAPI: "3.1.0",
			Info: &huma.Info{
				Title:       "weald",
				Version:     o.Version,
				Description: about,
			},
			Components: &huma.Components{
				Schemas:         huma.NewMapRegistry("#/components/schemas/", huma.DefaultSchemaNamer),
				SecuritySchemes: securitySchemes,
			},
		},
		Formats:       huma.DefaultFormats,
		DefaultFormat: "application/json",
	})
	s.addPlaces(api)
	s.addHistory(api)
	s.addRegions(api)
	s.addPieces(api)
	s.addConfiguration(api)
	s.addMarks(api)
	s.addSessions(api)
	s.addAttempts(api)
	s.addCompression(api)
	s.addExports(api)
	s.addReports(api)
	s.addRehearsals(api)
	s.addKept(api)
	s.addAudit(api)
	s.addLeaves(api)
	s.addCalibrations(api)
	s.addCalibrationRun(api)
	s.addCalibrationAccount(api)
	s.addChecks(api)
	s.addZeroings(api)
	s.addAlerts(api)
	s.addBridges(api)
	s.addSenders(api)
	s.addSelf(api)
	s.addSeatLinks(api)
	s.addMySeat(api)
	s.addDefaults(api)
	s.addMe(api)
	s.addDirectory(api)
	s.addAccounts(api)
	s.addErasures(api)
	s.addHealth(api)

	// Few ask for it, and it takes longer to write down than all the rest here.
	document := sync.OnceValues(func() ([]byte, error) { return json.Marshal(api.OpenAPI()) })
	mux.HandleFunc(route.Of("openapi").Pattern(), func(w http.ResponseWriter, _ *http.Request) {
		document, err := document()
		if err != nil {
			Problem(w, http.StatusInternalServerError, fmt.Sprintf("OpenAPI document: %v", err))
			return
		}
		w.Header().Set("Content-Type", "application/openapi+json")
		w.Write(document)
	})
}

const about = `Pressures under wraps, mattresses and cushions, and what the rules make of them.

A research and training aid: not a medical device, not an alarm system, and no substitute for looking at the skin. Local policy and the responsible clinician decide.

null is unknown, never 0. Times are RFC 3339 in UTC. Live data come over a WebSocket connection to /live (subprotocol weald.live.v1), metrics from /metrics.

Where the configuration says web.accounts: required, requests say who asks: by the cookie of a log-in, or by a token in Authorization: Bearer. x-least-role is the role that an operation needs at least: wall, viewer, carer, engineer or admin, each of which may do what those before it may. 401 asks to log in, 403 says that the role does not suffice. Who does something is then the account, whatever by, code or author say.`

// ask runs f on the pipeline's goroutine.
func (s *server) ask(ctx context.Context, f func(*pipeline.State)) error {
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	if err := s.Pipeline.Do(ctx, f); err != nil {
		return huma.Error503ServiceUnavailable("the pipeline does not answer: " + err.Error())
	}
	return nil
}

// place finds a place by its id.
func (s *server) place(id string) (int, error) {
	for i := range s.Plan.Places {
		if s.Plan.Places[i].ID == id {
			return i, nil
		}
	}
	return 0, huma.Error404NotFound(fmt.Sprintf("there is no place %q", id))
}

// Elsewhere answers for every path under /api/ that no route of mux is for.
func Elsewhere(mux Mux) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		status, detail := http.StatusNotFound, "there is nothing at "+r.URL.Path
		var can []string
		for _, method := range []string{http.MethodGet, http.MethodPost} {
			other := r.Clone(r.Context())
			other.Method = method
			if _, pattern := mux.Handler(other); pattern != "/api/" {
				can = append(can, method)
			}
		}
		if len(can) > 0 {
			if can[0] == http.MethodGet {
				can = slices.Insert(can, 1, http.MethodHead)
			}
			allow := strings.Join(can, ", ")
			status, detail = http.StatusMethodNotAllowed, r.URL.Path+" takes "+allow+" and not "+r.Method
			w.Header().Set("Allow", allow)
		}
		Problem(w, status, detail)
	})
}

// Problem writes an RFC 9457 problem.
func Problem(w http.ResponseWriter, status int, detail string) {
	w.Header().Set("Content-Type", "application/problem+json")
	w.WriteHeader(status)
	// An error means that the client is gone.
	_ = json.NewEncoder(w).Encode(&huma.ErrorModel{Title: http.StatusText(status), Status: status, Detail: detail})
}
