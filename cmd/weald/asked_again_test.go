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
