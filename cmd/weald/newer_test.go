package main

import (
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"weald/config"
	"weald/ingest/sample"
	"weald/ingest/tcp/wire/wiretest"
	"weald/stream/journal/replicated/natstest"
	"weald/stream/relay"
)

// A machine that judges stops at readings that a newer version has handed on: it leaves out
// none, stands by, and says why to people and programs; so does one that would read bridges
// behind such a version. Neither takes the work again, however often it is free.
func TestNobodyGoesOnBehindANewerVersion(t *testing.T) {
	t.Parallel()
	servers := natstest.Serve(t, 1)
	machine := func(roles string) string {
		text := fmt.Sprintf(absentConfig, portOf(wiretest.Vacant(t)), strings.Join(servers.URLs(), ", "))
		return write(t, "weald.yaml", strings.Replace(text, "judge, serve", roles, 1))
	}
	path := machine("judge, serve")
	c, problems := config.Load(path)
	if problems != nil {
		t.Fatal(problems)
	}
	conn := servers.Connect()
	w, err := relay.NewWriter(t.Context(), conn, relayOf(c), slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	go func() { _ = w.Run(t.Context()) }()
	safe, err := w.Put(t.Context(), "board/leg", measured(sample.At(time.Now()), 0))
	if err != nil {
		t.Fatal(err)
	}
	<-safe
	judges := launch(t, path)
	eventually(t, longEnough, func() error { return hasSaid(judges, "all readings that waited have come") })
	for _, body := range []string{"", "\xc8 of another kind"} { // its claim, and its readings
		m := nats.NewMsg("weald." + c.Cluster.Record + ".readings")
		m.Header.Set("Weald-Writer", "of-a-newer-version")
		m.Data = []byte(body)
		if _, err := conn.RequestMsg(m, 5*time.Second); err != nil {
			t.Fatal(err)
		}
	}
	reads := launch(t, machine("ingest"))
	time.Sleep(5 * time.Second) // in which each could take the work again
	for v, title := range map[*victim]string{judges: "stands by", reads: "reads bridges"} {
		eventually(t, longEnough, func() error {
			if err := hasSaid(v, "this machine stops, and leaves the work to others"); err != nil {
				return err
			}
			for path, want := range map[string]string{"/readyz": "of a newer version of weald than this one", "/": title} {
				if got := text(t, v.address, path); !strings.Contains(got, want) {
					return fmt.Errorf("no %q in %s: %s", want, path, got)
				}
			}
			return nil
		})
		if n := strings.Count(v.stderr.String(), "this machine stops"); n != 1 {
			t.Errorf("it has stopped %d times: %s", n, v.stderr.String())
		}
		if strings.Contains(v.stderr.String(), "cannot be read, and are not judged") {
			t.Errorf("readings were left out: %s", v.stderr.String())
		}
		v.end()
	}
}
