package webui

import (
	"net"
	"net/http"

	"weald/webui/api"
)

// A Share is some of the places, which one machine reads and judges at a time.
type Share struct {
	ID      string
	Places  []string
	Port    string         // of its pages, on every machine
	Writer  func() *Writer // as in StandbyOptions
	Trouble func() string  // as in StandbyOptions
}

// SharesOptions are what Shares needs.
type SharesOptions struct {
	Machine string // this one
	Reads   bool   // as in StandbyOptions
	Version string
	Shares  []Share
	Hosts   []string // as in Options
}

// Like the page of a machine that stands by, this one must not look as if all were quiet.
var sharesPage = newPlain("Where the pages are", `<p><strong>This page shows no patients and no alerts.</strong> It leads to the pages that do.</p>
<ul>
{{range .Shares}}<li><h2>{{.ID}}</h2>
<p>{{range $i, $p := .Places}}{{if $i}}, {{end}}{{$p}}{{end}}</p>
{{if .Writer}}<p>{{.Writer.Machine}} {{if $.Reads}}reads the bridges{{else}}does the work{{end}}, since {{.Writer.Since.UTC.Format "2 January 2006, 15:04:05"}} UTC.{{if $.Reads}} The pages are on the machines that judge.{{else if not .Pages}} Ask for its pages where it stands.{{end}}</p>
{{if .Pages}}<p><a href="{{.Pages}}">Go to the pages of {{.ID}}</a></p>
{{end}}{{else}}<p>No machine {{if $.Reads}}reads the bridges{{else}}does the work{{end}} at the moment, or none can be seen from here. Look at the people in your care.</p>
{{end}}{{if .Trouble}}<p>{{$.Machine}} {{if .Own}}reads the bridges, and something is wrong with that{{else}}could not take over now{{end}}: {{.Trouble}}</p>
{{end}}</li>
{{end}}</ul>
<p>This is {{.Machine}}. {{if .Reads}}It reads bridges, and takes over when another machine that does is gone.{{else}}Of what is not here, it keeps a copy, and takes over when another machine is gone.{{end}}</p>`, nil)

// A shareLine is a share as it is shown.
type shareLine struct {
	ID      string   `json:"share"`
	Places  []string `json:"places"`
	Writer  *Writer  `json:"-"`
	Machine string   `json:"machine"` // "" for nobody, or not known
	Pages   string   `json:"pages"`   // address; "" where nobody else can reach them
	Trouble string   `json:"trouble"` // as in StandbyOptions
	Own     bool     `json:"-"`       // what is in trouble is what this machine does
}

// lines returns how the shares are, for whoever asked for this machine's pages.
func (o *SharesOptions) lines(r *http.Request) []shareLine {
	out := make([]shareLine, len(o.Shares))
	for i, s := range o.Shares {
		line := shareLine{ID: s.ID, Places: s.Places, Writer: s.Writer(), Trouble: s.Trouble()}
		if w := line.Writer; w != nil {
			line.Machine, line.Pages, line.Own = w.Machine, w.Pages, o.Reads && w.Machine == o.Machine
			if o.Reads {
				line.Pages = ""
			} else if line.Pages == "" && w.Machine == o.Machine {
				line.Pages = onPort(r, s.Port)
			}
		}
		out[i] = line
	}
	return out
}

// onPort is the address of another port of whichever host was asked.
func onPort(r *http.Request, port string) string {
	host, _, err := net.SplitHostPort(r.Host)
	if err != nil {
		host = r.Host
	}
	scheme := "http://"
	if r.TLS != nil {
		scheme = "https://"
	}
	return scheme + net.JoinHostPort(host, port)
}

// Shares returns what a machine serves that carries some of several shares: a page that
// says where each is, and whether this machine could take over any.
func Shares(o SharesOptions) http.Handler {
	mux := bare(o.Version)
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		sharesPage.show(w, http.StatusOK, struct {
			Machine string
			Reads   bool
			Shares  []shareLine
		}{o.Machine, o.Reads, o.lines(r)})
	})
	mux.HandleFunc("/readyz", func(w http.ResponseWriter, r *http.Request) {
		lines, reasons, status := o.lines(r), []string{}, http.StatusOK
		for _, l := range lines {
			switch {
			case l.Trouble != "" && l.Own:
				reasons = append(reasons, "share "+l.ID+": something is wrong with how this machine reads its bridges: "+l.Trouble)
			case l.Trouble != "":
				reasons = append(reasons, "share "+l.ID+": this machine could not take over now: "+l.Trouble)
			case l.Machine == "":
				reasons = append(reasons, "share "+l.ID+": no machine does its work")
			}
		}
		if len(reasons) > 0 {
			status = http.StatusServiceUnavailable
		}
		answer(w, status, map[string]any{"ready": len(reasons) == 0, "reasons": reasons, "machine": o.Machine, "shares": lines})
	})
	for _, pattern := range []string{"/api/", "/live", "/metrics"} {
		mux.HandleFunc(pattern, func(w http.ResponseWriter, _ *http.Request) {
			api.Problem(w, http.StatusNotFound, "each share has pages of its own: /readyz says where")
		})
	}
	return headers(hosts(o.Hosts, http.MaxBytesHandler(mux, maxBody)))
}
