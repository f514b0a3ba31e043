package webui

import (
	"encoding/json"
	"net/http"
	"time"

	"weald/webui/api"
)

// A Writer is the machine that does the work while this one stands by.
type Writer struct {
	Machine string
	Pages   string // address of its pages; "" if nobody else can reach them
	Since   time.Time
}

// StandbyOptions are what Standby needs.
type StandbyOptions struct {
	Machine string // this one
	Reads   bool   // it reads bridges for others, and never shows the ward
	Share   string // for which it stands by; "" for all that there is
	Version string
	Writer  func() *Writer // nil for nobody, or not known
	// Trouble says why this machine could not take over, or what is wrong with what it does;
	// "" for nothing.
	Trouble func() string
	Hosts   []string // as in Options
}

// What a machine that stands by shows: it has no readings and no alerts of its own, so it
// must not look as if all were quiet. It asks again by itself, and is followed by the
// pages when this machine takes over.
var standbyPage = newPlain("{{.Machine}} {{.Does}}", `<p><strong>This page shows no patients and no alerts.</strong></p>
{{with .Writer}}<p>{{.Machine}} {{if $.Reads}}reads the bridges{{else}}does the work{{end}}, since {{.Since.UTC.Format "2 January 2006, 15:04:05"}} UTC.{{if $.Reads}} The pages of the ward are on the machines that judge.{{else if not .Pages}} Ask for its pages where it stands.{{end}}</p>
{{if and .Pages (not $.Reads)}}<p><a href="{{.Pages}}">Go to the pages of {{.Machine}}</a></p>
{{end}}{{else}}<p>No machine {{if .Reads}}reads the bridges{{else}}does the work{{end}} at the moment, or none can be seen from here. Look at the people in your care.</p>{{end}}
{{if and .Trouble .Own}}<p>Something is wrong with that: {{.Trouble}}</p>{{else if .Trouble}}<p>This machine could not take over now: {{.Trouble}}</p>{{else}}<p>If that machine is gone, {{if .Reads}}another takes over by itself.{{else}}this one takes over by itself, and this page becomes the pages of the ward.{{end}}</p>{{end}}`, nil)

const standbyStyle = `:root { color-scheme: light dark }
body { font: 1.25rem/1.5 system-ui, sans-serif; margin: 0 }
main { max-width: 40rem; margin: 0 auto; padding: 1.5rem }
h1 { font-size: 1.75rem; line-height: 1.2; margin: 0 0 1rem }
h2 { font-size: 1.25rem; line-height: 1.2; margin: 0 }
ul { list-style: none; margin: 0; padding: 0 }
li { border-top: 1px solid; padding: 1rem 0 0 }
li p { margin: .5rem 0; overflow-wrap: anywhere }
a { display: inline-block; padding: .5rem 0 }
footer { font-size: 1rem; margin-top: 2.5rem; border-top: 1px solid; padding-top: 1rem }
`

// does says what this machine does.
func (o *StandbyOptions) does() string {
	does := "stands by"
	if o.Reads {
		does = "reads bridges"
	}
	if o.Share != "" {
		does += " for " + o.Share
	}
	return does
}

// own reports whether this machine does what others would take over from it.
func (o *StandbyOptions) own() bool {
	by := o.Writer()
	return o.Reads && by != nil && by.Machine == o.Machine
}

// why says why a machine that stands by answers nothing.
func (o *StandbyOptions) why() string {
	why := "this machine " + o.does()
	if by := o.Writer(); by != nil {
		if why += ": " + by.Machine; o.Reads {
			why += " is the one that does"
		} else {
			why += " does the work"
		}
	}
	switch trouble := o.Trouble(); {
	case trouble == "":
	case o.own():
		why += "; something is wrong with that: " + trouble
	default:
		why += "; it could not take over now: " + trouble
	}
	return why
}

// Standby returns what a machine serves that stands by: a page that says so, and that it
// is alive, but not able to do the job.
func Standby(o StandbyOptions) http.Handler {
	mux := bare(o.Version)
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			api.Problem(w, http.StatusServiceUnavailable, o.why())
			return
		}
		standbyPage.show(w, http.StatusServiceUnavailable, struct {
			Machine, Does string
			Reads, Own    bool
			Writer        *Writer
			Trouble       string
		}{o.Machine, o.does(), o.Reads, o.own(), o.Writer(), o.Trouble()})
	})
	mux.HandleFunc("/readyz", func(w http.ResponseWriter, _ *http.Request) {
		if o.Reads && o.Trouble() == "" {
			answer(w, http.StatusOK, map[string]any{"ready": true, "reasons": []string{}})
			return
		}
		answer(w, http.StatusServiceUnavailable, map[string]any{"ready": false, "reasons": []string{o.why()}})
	})
	for _, pattern := range []string{"/api/", "/live", "/metrics"} {
		mux.HandleFunc(pattern, func(w http.ResponseWriter, _ *http.Request) {
			api.Problem(w, http.StatusServiceUnavailable, o.why())
		})
	}
	return headers(hosts(o.Hosts, http.MaxBytesHandler(mux, maxBody)))
}

// bare answers what every machine does that shows no pages of its own: that it is alive.
func bare(version string) *http.ServeMux {
	mux := http.NewServeMux()
	mux.HandleFunc("/standby.css", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/css; charset=utf-8")
		_, _ = w.Write([]byte(standbyStyle))
	})
	mux.HandleFunc("/healthz", func(w http.ResponseWriter, _ *http.Request) {
		answer(w, http.StatusOK, map[string]any{"status": "alive", "version": version})
	})
	return mux
}

func answer(w http.ResponseWriter, status int, body map[string]any) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(body) // fails only if nobody listens any more
}
