package main

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/stream/access"
	"weald/stream/audit"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
	"weald/webui/gate"
	"weald/webui/route"
)

// What leaves no entry is told by what was asked for, once in a while; what a person is
// known by is nowhere in the open.
func TestRequestsInTheAudit(t *testing.T) {
	m := new(journaltest.Memory)
	now := sample.At(time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC))
	b := &book{log: audit.Over(m)}
	b.views = audit.NewViews(b.log, func() sample.Instant { return now })
	for _, r := range []struct {
		route, subject string
		status         int
	}{
		{"place", "place=bed-4", 200}, {"signals", "place=bed-4 from=1 to=2", 200}, {"signals", "place=bed-4 from=2 to=3", 200},
		{"sessions", "code=K-07", 200}, {"place", "place=nowhere", 404}, {"live", "", 101}, {"export-file", "export=e-1 name=a.csv", 200},
		{"report-session", "session=s-1", 200}, {"acknowledge", "alert=a", 200}, {"export", "", 403}, {"bridges", "", 200},
		{"report-trial", "person=K-07 from=1", 200}, {"report-trial", "person=K-07 from=1", 200}, {"export", "place=bed-4", 201}, {"log-in", "account=anna", 401},
	} {
		b.seen(t.Context(), gate.Event{Who: access.Who{Name: "anna", Means: access.Session}, Route: route.Of(r.route), Subject: r.subject, Status: r.status})
	}
	b.watched(t.Context(), []string{"bed-4", "bed-5"}, false)
	b.watched(t.Context(), []string{"bed-4", "bed-5"}, true)
	ctx, end := context.WithCancel(t.Context())
	end() // what was told is kept all the same
	_ = b.views.Run(ctx)
	var said []string
	for e, err := range audit.Lines(t.Context(), m, audit.Query{}) {
		if err != nil {
			t.Fatal(err)
		}
		if a := e.Body.(record.Audit); strings.Contains(fmt.Sprint(a.Subject, a.What, e.Place), "K-07") || strings.Contains(a.Subject, "anna") {
			t.Errorf("in the open: %+v", a)
		}
		said = append(said, audit.Sentence(&e))
	}
	want := []string{
		"anna looked at bed-4", "anna looked at sessions of K-07", "anna exported export-file export e-1",
		"anna had a report made: report-session session s-1", "anna was refused: export", "anna had a report made: report-trial of K-07", "anna had a report made: report-trial of K-07", "anna exported export at bed-4",
		"anna was refused: log-in: anna", "somebody looked at bed-4", "somebody looked at bed-5", "somebody looked at places",
	}
	if !slices.Equal(said, want) {
		t.Errorf("%s\nwant\n%s", strings.Join(said, "\n"), strings.Join(want, "\n"))
	}
}

// A daemon tells who saw what, and its chain has what people did.
func TestWhoSawWhat(t *testing.T) {
	t.Parallel()
	address := start(t, "demo", "--data", t.TempDir(), "--listen", "127.0.0.1:0")
	for range 5 {
		if r, err := http.Get(address + "/api/v1/places/bench-1"); err != nil || r.StatusCode != http.StatusOK {
			t.Fatal(err)
		}
	}
	if ok, err := noteMark(address, "bench-1", "turned"); !ok {
		t.Fatal(err)
	}
	eventually(t, longEnough, func() error {
		all, err := get[struct {
			Head string
			Acts []struct{ Says string }
		}](address, "/api/v1/audit?to=2100-01-01T00:00:00Z")
		if err != nil {
			return err
		}
		looks, marks := 0, 0
		for _, a := range all.Acts {
			if a.Says == "127.0.0.1 looked at bench-1" {
				looks++
			}
			if strings.HasSuffix(a.Says, "made a mark at bench-1") {
				marks++
			}
		}
		if looks != 1 || marks != 1 || !strings.Contains(all.Head, ":") {
			return fmt.Errorf("%+v", all)
		}
		return nil
	})
}
