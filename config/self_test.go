package config

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"weald/rules/alert"
	"weald/stream/selfwatch"
)

func TestSelf(t *testing.T) {
	c := parse(t, readFile(t, "testdata/self.yaml"))
	of := func(id string) selfwatch.Setting { return c.Self[selfwatch.Index(id)] }
	if s := of(selfwatch.Silence); s.Limit != 120 || s.Priority != alert.High || s.After != 0 {
		t.Errorf("silence %+v", s)
	}
	if s := of(selfwatch.Disk); s != (selfwatch.Setting{Limit: 20, After: 5 * time.Minute, Priority: alert.High}) {
		t.Errorf("disk %+v", s)
	}
	if !of(selfwatch.ClockError).Off || of(selfwatch.Memory) != selfwatch.Kinds[selfwatch.Index(selfwatch.Memory)].Default {
		t.Errorf("%+v", c.Self)
	}
	if h := c.Heartbeat; h.Every != 30*time.Second || !h.Webhook.Address.Given() || h.Topic.Name != "larch/pulse" || h.Topic.ClientID != "weald-send-heartbeat" {
		t.Errorf("heartbeat %+v", h)
	}
	if c := parse(t, minimal("heartbeat: {topic: {broker: \"broker:1883\"}}\n")); c.Heartbeat.Every != time.Minute || c.Heartbeat.Topic.Name != "weald/heartbeat" {
		t.Errorf("heartbeat %+v", c.Heartbeat)
	}
}

// The descriptions, which are what people read, state the defaults of every kind as
// they are.
func TestDefaultsOfSelfAreDescribed(t *testing.T) {
	said := defs(t)["Self"].Properties
	if len(said) != len(selfwatch.Kinds) {
		t.Errorf("%d kinds can be set, there are %d", len(said), len(selfwatch.Kinds))
	}
	for _, k := range selfwatch.Kinds {
		want := fmt.Sprintf("Default limit %g", k.Default.Limit)
		if after := k.Default.After; after >= time.Minute {
			want += fmt.Sprintf(" after %gm", after.Minutes())
		} else if after > 0 {
			want += fmt.Sprintf(" after %gs", after.Seconds())
		}
		want += ", priority " + k.Default.Priority.String()
		if got := strings.Join(strings.Fields(said[k.ID].Description), " "); !strings.Contains(got, want) {
			t.Errorf("%s: %q does not say %q", k.ID, got, want)
		}
	}
}
