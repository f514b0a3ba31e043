package main

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"testing/synctest"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"weald/config"
)

// Servers that answer and have no log yet are not said to be silent, neither on the page nor in the
// log; either is said once, and what it is turns into is said anew.
func TestWhyServersAreAskedAgainIsSaid(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var out bytes.Buffer
		var page []string
		answers := []error{nats.ErrTimeout, nats.ErrTimeout, jetstream.ErrStreamNotFound, fmt.Errorf("in domain larch: %w", context.DeadlineExceeded), nil}
		_, err := again(t.Context(), slog.New(slog.NewTextHandler(&out, nil)), func(why string) { page = append(page, why) }, func() (struct{}, error) {
			err := answers[0]
			answers = answers[1:]
			return struct{}{}, err
		})
		if err != nil {
			t.Error(err)
		}
		if got := strings.Join(page, "; "); got != "the servers of the cluster do not answer; the servers of the cluster have no log of it; the servers of the cluster do not answer" {
			t.Errorf("the page says %s", got)
		}
		if lines := strings.Split(strings.TrimSpace(out.String()), "\n"); len(lines) != 3 || strings.Contains(lines[1], "do not answer") || !strings.Contains(lines[1], "no log of it") {
			t.Errorf("the log says %q", lines)
		}
	})
}

// A machine that only shows what others write never does their work, and does not say of another
// configuration that it comes into force then.
func TestWhenAConfigurationIsInForceIsSaid(t *testing.T) {
	for roles, want := range map[string]string{"serve": "when weald is started again", "judge, serve": "when this machine does the work"} {
		c, problems := config.Load(write(t, "weald.yaml", fmt.Sprintf(`data: record
cluster: {servers: ["nats://127.0.0.1:4222"], replicas: 1, roles: [%s]}
bridges:
  - {id: hub, link: {tcp: {dial: "127.0.0.1:7001"}}, format: packed, sources: [{number: 1, id: leg, channels: 1, rate: 20, unit: mmHg}]}
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [hub/leg/0]}]}
`, roles)))
		if err := problems.Err(); err != nil {
			t.Fatal(err)
		}
		var said bytes.Buffer
		(&machine{config: c, name: "weald-a", stderr: &said}).partner(c).reload(t.Context())
		if !strings.Contains(said.String(), want) {
			t.Errorf("with roles %s it says %q", roles, said.String())
		}
	}
}
