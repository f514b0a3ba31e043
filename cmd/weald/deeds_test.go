package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"net/http"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/journal/sqlite"
	"weald/stream/record"
	"weald/stream/view"
)

// A deed is something that a daemon answered with yes.
type deed struct{ verb, id, code, reason string }

// people do what they like with the alerts of a running daemon until it does not
// answer any more, and note what it said yes to, each deed with words of its own; so many
// there are in all.
func people(address, code string, seed uint64, all *atomic.Int32) (done []deed) {
	random := rand.New(rand.NewPCG(seed, 7))
	client := http.Client{Timeout: 5 * time.Second}
	for n := 0; ; n++ {
		list, err := get[struct{ Alerts []view.Alert }](address, "/api/v1/alerts")
		if err != nil {
			return done
		}
		if len(list.Alerts) == 0 {
			time.Sleep(20 * time.Millisecond)
			continue
		}
		a := list.Alerts[random.IntN(len(list.Alerts))]
		verb := alert.Verbs()[random.IntN(len(alert.Verbs()))]
		if alert.State(a.State).Open() && random.IntN(2) == 0 {
			verb = alert.Acknowledge
		}
		d := deed{string(verb), a.ID, code, fmt.Sprintf("number %d of %d", n, seed)}
		body := map[string]any{"code": d.code, "reason": d.reason}
		if verb == alert.Shelve {
			body["for_s"] = 1 + random.IntN(60)
		}
		sent, err := json.Marshal(body)
		if err != nil {
			return done
		}
		r, err := client.Post(address+"/api/v1/alerts/"+a.ID+"/"+d.verb, "application/json", bytes.NewReader(sent))
		if err != nil {
			return done
		}
		r.Body.Close()
		if r.StatusCode == http.StatusOK {
			done = append(done, d)
			all.Add(1)
		}
		if random.IntN(4) == 0 { // somebody says how a limb rests
			what := []string{"lying", "standing"}[random.IntN(2)]
			if r, err := client.Post(address+"/api/v1/places/bench-2/marks", "application/json", strings.NewReader(`{"what": "`+what+`"}`)); err == nil {
				r.Body.Close()
			}
		}
		time.Sleep(time.Duration(random.IntN(15)) * time.Millisecond)
	}
}

// keptDeeds fails for every deed that a daemon said yes to and whose action, or
// whose change of the alert, is not in the record just once.
func keptDeeds(t *testing.T, dir string, done []deed) {
	t.Helper()
	store, err := sqlite.Open(t.Context(), dir, sqlite.Options{Reserve: -1})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	actions, changes := map[deed]int{}, map[deed]int{}
	verbs := map[alert.Change]alert.Verb{
		alert.WasAcknowledged: alert.Acknowledge, alert.WasShelved: alert.Shelve, alert.WasUnshelved: alert.Unshelve,
		alert.WentOut: alert.TakeOut, alert.CameBack: alert.TakeBack,
	}
	for e, err := range store.Entries(t.Context(), journal.Query{Kinds: []record.Kind{record.KindAction, record.KindTransition}}) {
		if err != nil {
			t.Fatal(errors.Join(err, errors.New("the record is not in order")))
		}
		switch b := e.Body.(type) {
		case record.Action:
			actions[deed{b.What, b.Subject, e.Author, b.Reason}]++
		case record.Transition:
			if verb, ok := verbs[b.Event.What]; ok {
				changes[deed{string(verb), b.Event.ID(), b.Event.Who, b.Event.Why}]++
			}
		}
	}
	for _, d := range done {
		if actions[d] != 1 || changes[d] != 1 {
			t.Errorf("%+v was answered, and is kept as %d actions and %d changes", d, actions[d], changes[d])
		}
	}
	for d, n := range actions { // also those whose answer was lost with the daemon
		if n != 1 || changes[d] != 1 {
			t.Errorf("%+v is kept as %d actions and %d changes", d, n, changes[d])
		}
	}
}
