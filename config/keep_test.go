package config

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"weald/stream/journal"
)

func TestKeep(t *testing.T) {
	if c := parse(t, minimal("")); len(c.Keep) != 0 {
		t.Errorf("without keep: there are limits: %v", c.Keep)
	}
	c := parse(t, minimal(`keep:
  readings: {age: 90d, gigabytes: 0.5}
  seconds: {age: 30d}
  alerts: {age: 0}
  former: {gigabytes: 2}
`))
	want := journal.Limits{
		journal.Readings: {Age: 90 * 24 * time.Hour, Bytes: 5e8},
		journal.Seconds:  {Age: 30 * 24 * time.Hour},
		journal.Former:   {Bytes: 2e9},
	}
	if d := cmp.Diff(want, c.Keep); d != "" {
		t.Error(d)
	}
}
