package calmlog

import (
	"bytes"
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// A bad hour: a client knocks ten times a second, one bridge after the other is lost,
// and an alert cannot be sent. All that differs is there, once each; what repeats is
// there five times a minute, and counted.
func TestABadHour(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var out bytes.Buffer
		log := slog.New(New(slog.NewTextHandler(&out, nil)))
		for i := range 3600 {
			for range 10 {
				log.Warn("a client was refused", slog.String("user", "hub-1"), slog.String("from", fmt.Sprintf("10.0.0.9:%d", 1024+i)))
			}
			if i < 30 {
				log.With(slog.String("bridge", fmt.Sprintf("hub-%d", i))).Warn("bridge is in trouble")
			}
			time.Sleep(time.Second)
		}
		log.Error("a message was given up", slog.String("sender", "desk"))
		count := func(s string) int { return strings.Count(out.String(), s) }
		if n := count(`msg="a client was refused"`); n != 60*burst {
			t.Errorf("what repeated 36000 times in an hour was written %d times", n)
		}
		if n := count(`msg="the same again: a client was refused" times=595 within=1m0s`); n != 60 {
			t.Errorf("it was said %d times how many were held back", n)
		}
		if b, m := count("bridge is in trouble"), count("a message was given up"); b != 30 || m != 1 {
			t.Errorf("of 30 bridges %d were said to be lost, and %d messages to be given up", b, m)
		}
	})
}

// However much differs, no more is remembered than that.
func TestItIsBounded(t *testing.T) {
	h := New(slog.DiscardHandler)
	for i := range 5 * most {
		_ = h.Handle(t.Context(), slog.NewRecord(time.Unix(0, int64(i)), slog.LevelInfo, fmt.Sprint("line ", i), 0))
	}
	if n := len(h.seen.lines); n > most || len(h.seen.order) != n {
		t.Errorf("%d lines are remembered", n)
	}
}
