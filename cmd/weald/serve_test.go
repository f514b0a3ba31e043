package main

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"weald/ingest/raced"
	"weald/ingest/tcp/wire/wiretest"
	"weald/stream/journal/replicated/natstest"
)

// Three machines have a role each, as far as those can be apart: one reads, one judges and a
// third only shows what that one says, from a copy of the record. It waits for a log rather
// than make one, shows the same alerts and readings as the machine that judges, takes nothing from
// anybody, and says since when it knows nothing newer: while the log is out of reach, and
// while nobody judges.
func TestEachRoleHasAMachine(t *testing.T) {
	raced.Skip(t, "machines that are ended and started")
	t.Parallel()
	servers := natstest.Serve(t, 1)
	board, _, _, end := waving(t)
	defer end()
	machine := func(name, roles string) string {
		return write(t, name+".yaml", fmt.Sprintf(`data: record
web: {listen: "127.0.0.1:%s"}
cluster: {servers: [%s], replicas: 1, machine: %s, roles: [%s]}
`+wavingPlaces+`  - {id: stands, limit: {watch: calf.pressure, above: 50}, on_delay: 200ms, priority: medium}
`, portOf(wiretest.Vacant(t)), strings.Join(servers.URLs(), ", "), name, roles, board.Addr()))
	}
	showsPath, judgesPath := machine("weald-s", "serve"), machine("weald-j", "judge, serve")
	shows := launch(t, showsPath)
	saysSoon(t, shows, "/", "Nothing is known of this ward", "no log of it")
	reads := launch(t, machine("weald-i", "ingest"))
	judges := launch(t, judgesPath)
	saysSoon(t, shows, "/", "ward from afar", "This ward is seen", "bench-1", "unacknowledged, medium priority", "mmHg", "not a medical device")
	saysSoon(t, shows, "/readyz", `"ready":true`)

	type alerts map[string]string // by id: its state, priority and words
	of := func(v *victim) alerts {
		var all struct {
			Alerts []struct{ ID, State, Priority, Text string }
		}
		if b, err := answered(v.address, "/api/v1/alerts"); err != nil || json.Unmarshal([]byte(b), &all) != nil {
			return nil
		}
		out := alerts{}
		for _, a := range all.Alerts {
			out[a.ID] = a.State + ", " + a.Priority + ": " + a.Text
		}
		return out
	}
	same := func(with string) {
		t.Helper()
		eventually(t, longEnough, func() error {
			there, here := of(judges), of(shows)
			if !maps.Equal(there, here) || !slices.ContainsFunc(slices.Collect(maps.Values(here)), func(a string) bool { return strings.HasPrefix(a, with) }) {
				return fmt.Errorf("who judges has %v, and who shows has %v", there, here)
			}
			return nil
		})
	}
	same("unacknowledged")
	id := "bench-1~stands~calf"
	if _, err := postJSON[alertView](t.Context(), shows.address+"/api/v1/alerts/"+id+"/acknowledge", map[string]string{"code": "K-07"}); err == nil || !strings.Contains(err.Error(), "on the ward's own pages") {
		t.Errorf("what somebody does there is answered with %v", err)
	}
	if _, err := postJSON[alertView](t.Context(), judges.address+"/api/v1/alerts/"+id+"/acknowledge", map[string]string{"code": "K-07"}); err != nil {
		t.Fatal(err)
	}
	same("acknowledged")

	judges.kill()
	saysSoon(t, shows, "/", "Nothing is known of this ward since", "no machine is heard that judges it", "how it was then", "not known: the ward does not say")
	saysSoon(t, shows, "/readyz", `"ready":false`, "no machine is heard that judges it")
	judges = launch(t, judgesPath)
	saysSoon(t, shows, "/", "This ward is seen")
	servers.Stop(0)
	saysSoon(t, shows, "/", "Not seen since", "how it was then")
	saysSoon(t, shows, "/readyz", `"ready":false`, "the ward is not seen")
	servers.Start(0)
	saysSoon(t, shows, "/", "This ward is seen")
	same("acknowledged")
	reads.end()
	judges.end()
	saysSoon(t, shows, "/readyz", "no machine is heard that judges it") // and all has come
	shows.end()
	sameEntries(t, recordBeside(showsPath), recordBeside(judgesPath))
}
