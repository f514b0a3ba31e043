package main

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"weald/ingest/tcp/wire/wiretest"
	"weald/stream/audit"
	"weald/stream/record"
)

// An admin takes a person out over HTTP: not without the code given twice, not whom the
// record does not know, not as anybody else. The daemon answers, ends, and is there again
// under the same address; the code is in no file, who asked for it is in the audit, and
// whoever was logged in need not log in again.
func TestAPersonIsErasedOverHTTP(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	data := filepath.Join(dir, "data")
	if err := errors.Join(smallRecord(data), endSession(data)); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(dir, "ward.yaml")
	text := `data: data
web: {listen: "127.0.0.1:0", accounts: required}
bridges:
  - {id: logger, link: {serial: {port: ./none}}, format: line, sources: [{number: 0, id: leg, channels: 2, rate: 2, unit: mmHg}]}
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [logger/leg/0]}]}
`
	if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	l := wiretest.Listen(t)
	address := "http://" + l.Addr().String()
	ctx, cancel := context.WithCancel(t.Context())
	var stderr log
	ended := make(chan error, 1)
	c := configOf(t, name)
	go func() { ended <- runOn(ctx, c, 1, l, &stderr) }()
	defer func() {
		cancel()
		if err := <-ended; !errors.Is(err, context.Canceled) {
			t.Errorf("it ended with %v", err)
		}
	}()
	admin := func() (as context.Context) {
		t.Helper()
		eventually(t, longEnough, func() error {
			return askDaemon(t.Context(), data, question{Console: true}, func(l answerLine) { as = context.WithValue(t.Context(), asKey{}, l.Key) })
		})
		return as
	}
	as := admin()
	erase := func(as context.Context, code, again string) error {
		_, err := askHTTP[struct{ Text string }](as, http.MethodPost, address+"/api/v1/erasures", fmt.Appendf(nil, `{"code": %q, "again": %q}`, code, again))
		return err
	}
	refused := func(says string, err error) {
		t.Helper()
		if err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%v, want %q", err, says)
		}
	}
	refused("log in first", erase(t.Context(), "K-07", "K-07"))
	refused("give the code once more", erase(as, "K-07", "K-08"))
	refused("nothing of that person", erase(as, "K-99", "K-99"))
	refused("before the record does", erase(as, "K-07", "K-07")) // nothing says how it stood since
	if err := os.WriteFile(name, []byte(text+"# another\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := postJSON[struct{}](as, address+"/api/v1/configuration/apply", map[string]string{"code": "E-01"}); err != nil {
		t.Fatal(err)
	}
	if !found(t, data, "K-07") {
		t.Fatal("it is not there")
	}
	if err := erase(as, "K-07", "K-07"); err != nil {
		t.Fatal(err)
	}
	eventually(t, longEnough, func() error {
		if !strings.Contains(stderr.String(), "the record is made anew without the person") {
			return fmt.Errorf("it says %s", stderr.String())
		}
		return nil
	})
	as = admin()
	eventually(t, longEnough, func() error {
		_, err := getJSON[struct{}](as, address+"/api/v1/places/bench-1")
		return err
	})
	if found(t, data, "K-07") || strings.Contains(stderr.String(), "K-07") {
		t.Error("the code is in some file, or in the log")
	}
	store, err := readRecord(t.Context(), data)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	times := 0
	for e, err := range audit.Lines(t.Context(), store, audit.Query{}) {
		if err != nil {
			t.Fatal(err)
		}
		if a := e.Body.(record.Audit); a.What == audit.Erased {
			if times++; audit.Plain(a.Who) != onConsole {
				t.Errorf("it was %q who asked", audit.Plain(a.Who))
			}
		}
	}
	if r, err := audit.Verify(t.Context(), store); err != nil || len(r.Findings) > 0 || times != 1 {
		t.Errorf("%d erasures; %v %+v", times, err, r.Findings)
	}
}
