package main

import (
	"fmt"
	"strings"
	"testing"

	"weald/ingest/raced"
	"weald/ingest/tcp/wire/wiretest"
	"weald/stream/journal/replicated/natstest"
)

// The servers of the log are gone for half a minute. Whoever reads says on /readyz that it
// cannot hand on, whoever judges that nothing comes, with an alert of its own; when they are
// there again all of that is over by itself, nothing is missing, and no alert came of it that
// one process would not raise.
func TestReadingsThatAreHeldUpAreSaid(t *testing.T) {
	raced.Skip(t, "a log that is slow, against the clock")
	t.Parallel()
	servers := natstest.Serve(t, 1)
	board, _, _, end := waving(t)
	defer end()
	machine := func(roles string) *victim {
		text := fmt.Sprintf(absentConfig, portOf(wiretest.Vacant(t)), strings.Join(servers.URLs(), ", "))
		text = strings.ReplaceAll(strings.Replace(text, "judge, serve", roles, 1), `"127.0.0.1:9"`, fmt.Sprintf("%q", board.Addr()))
		return launch(t, write(t, "weald.yaml", strings.Replace(text, "rate: 10", "rate: 20", 1)))
	}
	reads, judges := machine("ingest"), machine("judge, serve")
	saysSoon(t, reads, "/readyz", `"ready":true`)
	saysSoon(t, judges, "/readyz", `"ready":true`)
	servers.Stop(0)
	saysSoon(t, reads, "/readyz", `"ready":false`, "something is wrong with that: the servers of the log have taken no reading for")
	saysSoon(t, reads, "/", "Something is wrong with that")
	saysSoon(t, judges, "/readyz", `"ready":false`, "the servers of the log have sent no readings for")
	const told = "readings that other machines take have not been judged for"
	saysSoon(t, judges, "/api/v1/alerts", told)
	saysSoon(t, judges, "/api/v1/self", `"id":"log","state":"raised"`)
	servers.Start(0)
	saysSoon(t, reads, "/readyz", `"ready":true`)
	eventually(t, longEnough, func() error { // an alert settles for a minute
		if state := text(t, judges.address, "/readyz"); !strings.Contains(state, `"ready":true`) {
			return fmt.Errorf("it says %s", state)
		}
		return nil
	})
	if state := text(t, judges.address, "/readyz"); strings.Contains(state, "catches up") {
		t.Errorf("all has come: %s", state)
	}
}
