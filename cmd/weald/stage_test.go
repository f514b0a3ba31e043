package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"weald/stream/rehearsal"
)

type staged struct {
	ID, State, Why string
	Field          *rehearsal.FieldMade
	Result         *rehearsal.RulesMade
}

// onStage asks a daemon for a rehearsal and waits for it.
func onStage(t *testing.T, address, ask string) (s staged) {
	t.Helper()
	now := time.Now()
	body := fmt.Sprintf(`{%s, "from": %q, "to": %q}`, ask, now.Add(-time.Hour).Format(time.RFC3339), now.Add(time.Hour).Format(time.RFC3339))
	answer, err := http.Post(address+"/api/v1/rehearsals", "application/json", strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	if err := json.NewDecoder(answer.Body).Decode(&s); err != nil || s.ID == "" {
		t.Fatalf("%s: %d, %v", body, answer.StatusCode, err)
	}
	eventually(t, longEnough, func() (err error) {
		if s, err = get[staged](address, "/api/v1/rehearsals/"+s.ID); err == nil && s.State != "made" {
			err = errors.New(s.State + " " + s.Why)
		}
		return err
	})
	return s
}

// A daemon judges what it has kept by other rules, beside its own judging: one more
// rule that never raises changes no alert of the others, and a field knows what
// was kept.
func rehearsesOnline(t *testing.T, address string) {
	t.Helper()
	r := onStage(t, address, `"merge": true, "rules": "rules:\n  - {id: never, at: {kind: wrap}, limit: {watch: ankle.pressure, above: 1000}, priority: low}\n"`).Result
	if r == nil || r.Scans == 0 || r.Counts.Comes+r.Counts.Goes+r.Counts.Moves > 0 || r.Before.Raised != r.Counts.Stays || r.After.Raised != r.Before.Raised {
		t.Errorf("with a rule that never raises: %+v", r)
	}
	f := onStage(t, address, `"place": "bench-1", "rule": "ankle-too-tight"`).Field
	if f == nil || f.KnownS < 10 || f.Signal != "ankle.pressure" || len(f.Raised) != rehearsal.FieldSize {
		t.Errorf("a field: %+v", f)
	}
}
