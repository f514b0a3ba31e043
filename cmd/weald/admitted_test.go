package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"weald/ingest/raced"
	"weald/ingest/tcp/wire/wiretest"
	"weald/stream/journal/replicated/natstest"
)

// A machine whose key is withdrawn ends, and says why, whatever it was doing: one that reads,
// one that does the work, and one that stands by. So does one that is started with a key that
// nobody knows.
func TestAKeyIsWithdrawn(t *testing.T) {
	raced.Skip(t, "a server of the log that takes up other options reads the old ones meanwhile, unguarded")
	t.Parallel()
	var keys, known, stay []string
	for i := range 5 {
		key := filepath.Join(t.TempDir(), "cluster.key")
		public, err := newClusterKey(key)
		if err != nil {
			t.Fatal(err)
		}
		keys = append(keys, key)
		if i < 3 {
			known = append(known, public)
		}
		if i == 4 {
			stay = append(stay, public)
		}
	}
	servers := natstest.ServeWith(t, func(o *server.Options) { admit(o, append(known, stay...)) })
	machine := func(i int, roles string) *victim {
		return begun(t, newWorld(1), write(t, "machine.yaml", fmt.Sprintf(`data: record
web: {listen: "127.0.0.1:%s"}
cluster: {servers: [%s], replicas: 1, machine: weald-%d, roles: [%s], credentials: %q}
bridges:
  - {id: board, link: {tcp: {dial: "127.0.0.1:9"}}, format: packed, sources: [{number: 1, id: leg, channels: 2, rate: 20, unit: mmHg}]}
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [board/leg/0]}]}
`, portOf(wiretest.Vacant(t)), strings.Join(servers.URLs(), ", "), i, roles, keys[i])))
	}
	machines := []*victim{machine(0, "ingest"), machine(1, "judge, serve")}
	for i, want := range []string{"this machine reads the bridges now", "all readings that waited have come"} {
		eventually(t, longEnough, func() error { return hasSaid(machines[i], want) })
	}
	machines = append(machines, machine(2, "judge, serve"))
	eventually(t, longEnough, func() error { return hasSaid(machines[2], "standing by") })
	servers.Change(0, func(o *server.Options) { admit(o, stay) })
	machines = append(machines, machine(3, "ingest"))
	for i, v := range machines {
		late := time.AfterFunc(30*time.Second, func() { _ = v.cmd.Process.Kill() })
		err := v.cmd.Wait()
		v.ended = true
		if late.Stop() {
			if said := v.stderr.String(); err == nil || !strings.Contains(said, "let this machine in no more: nats: Authorization Violation") || !strings.Contains(said, keys[i]) {
				t.Errorf("machine %d ended with %v and says %s", i, err, said)
			}
		} else {
			t.Errorf("machine %d goes on: %s", i, v.stderr.String())
		}
	}
}

// admit lets in who has one of some keys.
func admit(o *server.Options, public []string) {
	o.Nkeys = nil
	for _, key := range public {
		o.Nkeys = append(o.Nkeys, &server.NkeyUser{Nkey: key})
	}
}

func hasSaid(v *victim, words string) error {
	if said := v.stderr.String(); !strings.Contains(said, words) {
		return fmt.Errorf("it does not say %q: %s", words, said)
	}
	return nil
}

// What may pass by itself is waited for, and nothing else: servers without JetStream will
// never have the record.
func TestWhatMayPass(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		err  error
		pass bool
	}{
		{nats.ErrTimeout, true}, {nats.ErrNoResponders, true}, {context.DeadlineExceeded, true}, {jetstream.ErrStreamNotFound, true},
		{fmt.Errorf("stream: %w", &jetstream.APIError{Code: 503, ErrorCode: 10008, Description: "JetStream system temporarily unavailable"}), true},
		{&jetstream.APIError{Code: 400, ErrorCode: 10005, Description: "no suitable peers for placement"}, true},
		{fmt.Errorf("lease: %w", jetstream.ErrJetStreamNotEnabled), false},
		{&jetstream.APIError{Code: 503, ErrorCode: jetstream.JSErrCodeJetStreamNotEnabled}, false},
		{jetstream.ErrJetStreamNotEnabledForAccount, false}, {nats.ErrConnectionClosed, false},
		{errors.New("the folder is of another log"), false},
	} {
		if passing(c.err) != c.pass {
			t.Errorf("%v may pass: %t", c.err, !c.pass)
		}
	}
}
