package main

import (
	"context"
	"net/http"
	"net/netip"
	"slices"
	"strings"

	"weald/stream/access"
	"weald/stream/audit"
	"weald/stream/record"
	"weald/webui/gate"
	"weald/webui/route"
)

// What the audit calls what was done by a request that leaves no entry; of the other
// kinds of routes there is one, which has its own link.
var deeds = map[route.Kind]string{
	route.See: audit.Viewed, route.Report: audit.Reported, route.Export: audit.Exported,
	route.Log: audit.Logged, route.Rehearse: audit.Rehearsed,
}

// seen tells the audit of a request that was answered.
func (b *book) seen(_ context.Context, e gate.Event) {
	refused := e.Status == http.StatusUnauthorized || e.Status == http.StatusForbidden
	what, ok := deeds[e.Route.Audit]
	if e.Status >= http.StatusBadRequest && !refused || !ok && !refused || e.Route.ID == "live" && !refused {
		return // a live connection is told of by place
	}
	d := record.Deed{What: what, Who: whoOf(e.Who, e.From)}
	var rest []string
	for word := range strings.FieldsSeq(e.Subject) {
		switch name, value, _ := strings.Cut(word, "="); name {
		case "place":
			d.Place = value
		case "code", "person":
			d.Person = value
		case "alert", "session", "attempt", "export", "calibration", "rehearsal", "channel":
			rest = append(rest, name, value)
		case "account": // a name, which can be taken away
			d.Text = value
		}
	}
	if d.Place == "" || e.Route.Audit != route.See || refused {
		rest = slices.Insert(rest, 0, e.Route.ID) // who looks at a place looks at all of it
	}
	if refused {
		d.What = audit.Refused
	}
	d.Subject = strings.Join(rest, " ")
	if refused || e.Route.Audit == route.See {
		b.views.Saw(d)
		return
	}
	b.views.Did(d)
}

// whoOf is how the audit names who asks: where there are no accounts, the address.
func whoOf(w access.Who, from netip.Addr) string {
	if !from.IsValid() {
		return w.Author("")
	}
	return w.Author(from.String())
}

// watched tells the audit of what a viewer watches over a live connection: of single
// places, or of all at once.
func (b *book) watched(ctx context.Context, places []string, all bool) {
	visit := access.Of(ctx)
	d := record.Deed{What: audit.Viewed, Who: whoOf(visit.Who, visit.From)}
	if all {
		d.Subject = "places"
		b.views.Saw(d)
		return
	}
	for _, d.Place = range places {
		b.views.Saw(d)
	}
}

// watching returns what a hub tells of what is watched; nil without a record.
func (b *book) watching() func(context.Context, []string, bool) {
	if b == nil {
		return nil
	}
	return b.watched
}

// auditHead is the end of the audit's chain, for whoever keeps it elsewhere; "" where
// there is none, or it cannot be read.
func (b *book) auditHead(ctx context.Context) string {
	if b == nil {
		return ""
	}
	if head, ok, err := audit.Head(ctx, b.log); err == nil && ok {
		return head.String()
	}
	return ""
}
