package webui

import (
	"html/template"
	"math"
	"net/http"
	"strconv"
	"time"

	"weald/stream/afar"
	"weald/stream/view"
	"weald/webui/api"
)

// AfarOptions are what Afar needs.
type AfarOptions struct {
	Ward    string // what its record is called
	Version string
	Look    func() afar.Look
	Trouble func() string // why nothing is known; "" for nothing
	Hosts   []string      // as in Options
}

// What a centre shows of a ward: alerts, and readings with the words that the ward has for
// them. A ward that is not seen must not look quiet.
var afarPage = newPlain("{{.Ward}} from afar", `{{if and .Trouble .Seen.IsZero}}<p><strong>Nothing is known of this ward: {{.Trouble}}.</strong> Ask there.</p>
{{else if .Trouble}}<p><strong>Nothing is known of this ward since {{clock .Seen}}: {{.Trouble}}.</strong> What is below is how it was then: alerts may have come and gone. Ask there.</p>
{{else if and .Reached .Unkept}}<p><strong>This ward keeps nothing since {{clock .Unkept.Since}}: {{.Unkept.Why}}.</strong> Alerts below are how they were then: others may have come and gone. Ask there.</p>
{{else if .Whole}}<p>This ward is seen. Its own pages show more, and are where alerts are acknowledged.</p>
{{else if .Reached}}<p><strong>Not all has come that this ward wrote.</strong> {{if .Seen.IsZero}}What is below is not all{{else}}What is below is how it was at {{clock .Seen}}{{end}}: alerts may have come and gone. Ask there.</p>
{{else if .Seen.IsZero}}<p><strong>This ward has not been seen yet.</strong> Ask there.</p>
{{else}}<p><strong>Not seen since {{clock .Seen}}.</strong> What is below is how it was then: alerts may have come and gone. The ward goes on without this page. Ask there.</p>
{{end}}<ul>
{{range .Alerts}}<li><h2>{{.Place}}</h2>
<p>{{.Text}}</p>
<p>{{.State}}{{if .Priority}}, {{.Priority}} priority{{end}}{{with .RaisedAt}}; raised {{clock .}}{{end}}{{with .ClearedAt}}; cleared {{clock .}}{{end}}</p>
{{with .ReachedAt}}<p><strong>Late: it became known here on {{clock .}}.</strong></p>
{{end}}</li>
{{else}}<li><p>No alerts are known.</p></li>
{{end}}</ul>
<h2>Readings</h2>
<ul>
{{range .Places}}<li><h2>{{.ID}}</h2>
<p>{{.Text}}</p>
{{if .Signals}}<p>{{range $name, $s := .Signals}}{{$name}} {{figure $s}}<br>
{{end}}</p>
{{end}}<p>heard {{clock .HeardAt}}</p>
</li>
{{else}}<li><p>No readings are known: the ward does not say.</p></li>
{{end}}</ul>`, template.FuncMap{"clock": func(t time.Time) string {
	return t.UTC().Format("2 January 2006, 15:04:05") + " UTC"
}, "figure": func(s view.Signal) string {
	if s.Value == nil {
		return "not known"
	}
	return strconv.FormatFloat(math.Round(*s.Value*10)/10+0, 'f', -1, 64) + " " + s.Unit
}})

// Afar returns what a centre serves of a ward: a page of its alerts and readings, the same
// for programs, and whether the ward is seen.
func Afar(o AfarOptions) http.Handler {
	mux := bare(o.Version)
	mux.HandleFunc("/", func(w http.ResponseWriter, _ *http.Request) {
		afarPage.show(w, http.StatusOK, struct {
			Ward, Trouble string
			afar.Look
		}{o.Ward, o.Trouble(), o.Look()})
	})
	mux.HandleFunc("/api/v1/alerts", func(w http.ResponseWriter, _ *http.Request) {
		look := o.Look()
		answer(w, http.StatusOK, map[string]any{"alerts": look.Alerts, "reached": look.Reached, "whole": look.Whole && o.Trouble() == "", "behind": look.Behind, "unkept": look.Unkept, "seen_at": moment(look.Seen)})
	})
	mux.HandleFunc("/api/v1/places", func(w http.ResponseWriter, _ *http.Request) {
		answer(w, http.StatusOK, map[string]any{"places": o.Look().Places})
	})
	mux.HandleFunc("/readyz", func(w http.ResponseWriter, _ *http.Request) {
		look, reasons, status := o.Look(), []string{}, http.StatusOK
		if why := o.Trouble(); why != "" {
			reasons = append(reasons, why)
		} else if !look.Reached {
			reasons = append(reasons, "the ward is not seen")
		} else if look.Unkept != nil {
			reasons = append(reasons, "the ward keeps nothing: "+look.Unkept.Why)
		} else if !look.Whole {
			reasons = append(reasons, "not all has come that the ward wrote")
		}
		if len(reasons) > 0 {
			status = http.StatusServiceUnavailable
		}
		answer(w, status, map[string]any{"ready": len(reasons) == 0, "reasons": reasons, "seen_at": moment(look.Seen)})
	})
	for _, pattern := range []string{"/api/", "/live", "/metrics"} {
		mux.HandleFunc(pattern, func(w http.ResponseWriter, _ *http.Request) {
			api.Problem(w, http.StatusNotFound, "this machine shows alerts and readings of a ward; all else is on the ward's own pages")
		})
	}
	return headers(hosts(o.Hosts, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			api.Problem(w, http.StatusMethodNotAllowed, "this machine only shows a ward: whoever wants to do something does it on the ward's own pages")
			return
		}
		mux.ServeHTTP(w, r)
	})))
}

// moment is nil for a time that is none.
func moment(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}
