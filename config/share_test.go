package config

import (
	"slices"
	"strings"
	"testing"
)

const shared = `
data: /var/lib/weald
web: {listen: "0.0.0.0:8420", names: [weald.larch.example], tls: {self_signed: true}, accounts: required}
mqtt: {listen: ":1883"}
heartbeat: {every: 30s, topic: {broker: "broker:1883"}}
notify:
  - {id: lamp, topic: {broker: "broker:1883"}}
cluster:
  servers: ["nats://127.0.0.1:4222"]
  record: hospital
  pages: https://weald-a.larch.example:8420
  shares:
    - {id: larch, listen: "0.0.0.0:8421", bridges: [hub-1]}
    - {id: rowan, listen: "0.0.0.0:8422", bridges: [hub-2, hub-3]}
bridges:
  - {id: hub-1, link: {mqtt: {listener: true, password_file: a}}, format: packed, sources: &sources [{number: 0, id: s, channels: 4, rate: 2, unit: mmHg}]}
  - {id: hub-2, link: {tcp: {dial: "127.0.0.1:4002"}}, format: packed, sources: *sources, capture: two.wcap}
  - {id: hub-3, link: {tcp: {dial: "127.0.0.1:4003"}}, format: packed, sources: *sources}
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [hub-1/s/0]}]}
  - {id: bench-2, kind: wrap, sites: [{id: ankle, channels: [hub-2/s/0]}, {id: calf, channels: [hub-3/s/0]}]}
rules:
  - {id: everywhere, limit: {watch: ankle.pressure, above: 60}, priority: medium}
  - {id: calves, limit: {watch: calf.pressure, above: 60}, priority: medium}
  - {id: there, at: {place: bench-1}, limit: {watch: ankle.pressure, above: 70}, priority: high}
`

// A share has its own bridges, places, record, pages and names at brokers, what rules find
// something there, and all else as the file has it; the whole has everything.
func TestShares(t *testing.T) {
	whole := parse(t, []byte(shared))
	if got := whole.Shares(); len(whole.Places) != 2 || whole.Share() != "" || !slices.Equal(got, []string{"folder/x.yaml#larch", "folder/x.yaml#rowan"}) {
		t.Errorf("%d places, shares %v", len(whole.Places), got)
	}
	for _, want := range []struct {
		share, data, listen, pages, bridges, places, rules string
		mqtt                                               bool
	}{
		{"larch", "/var/lib/weald/larch", "0.0.0.0:8421", "https://weald-a.larch.example:8421", "hub-1", "bench-1", "everywhere there", true},
		{"rowan", "/var/lib/weald/rowan", "0.0.0.0:8422", "https://weald-a.larch.example:8422", "hub-2 hub-3", "bench-2", "everywhere calves", false},
	} {
		c, problems := Parse("folder/x.yaml#"+want.share, []byte(shared))
		if problems != nil {
			t.Fatal(problems)
		}
		var bridges, places, rules []string
		for _, b := range c.Bridges {
			bridges = append(bridges, b.ID)
		}
		for _, p := range c.Places {
			places = append(places, p.ID)
		}
		for _, r := range c.Plan().Rules {
			rules = append(rules, r.ID)
		}
		for name, pair := range map[string][2]string{
			"data":    {c.Data, want.data},
			"listen":  {c.Listen, want.listen},
			"pages":   {c.Cluster.Pages, want.pages},
			"record":  {c.Cluster.Record, "hospital-" + want.share},
			"bridges": {strings.Join(bridges, " "), want.bridges},
			"places":  {strings.Join(places, " "), want.places},
			"rules":   {strings.Join(rules, " "), want.rules},
			"beat":    {c.Heartbeat.Topic.Name, "weald/heartbeat/" + want.share},
			"beats":   {c.Heartbeat.Topic.ClientID, "weald-send-heartbeat-" + want.share},
			"sender":  {c.Notify[0].Topic.ClientID, "weald-send-lamp-" + want.share},
			"CA":      {c.TLS.Folder, "/var/lib/weald/tls"},
			"text":    {c.Text, shared},
			"file":    {c.File(), "folder/x.yaml"},
			"share":   {c.Share(), want.share},
			"former":  {c.Named("before"), "before#" + want.share},
		} {
			if pair[0] != pair[1] {
				t.Errorf("%s of %s: %q, want %q", name, want.share, pair[0], pair[1])
			}
		}
		if (c.MQTT != nil) != want.mqtt || c.Shares() != nil {
			t.Errorf("%s listens for MQTT: %v; its shares: %v", want.share, c.MQTT, c.Shares())
		}
	}
	if c, _ := Parse("folder/x.yaml#rowan", []byte(shared)); c.Bridges[0].Capture != "/var/lib/weald/rowan/two.wcap" {
		t.Errorf("captures go to %s", c.Bridges[0].Capture)
	}
	_, problems := Parse("folder/x.yaml#rown", []byte(shared))
	if want := `folder/x.yaml: there is no share "rown": did you mean rowan?`; problems.Error() != want {
		t.Errorf("got %v, want %s", problems, want)
	}
	if c, _ := Parse("ward#1.yaml", []byte(shared)); c == nil || c.File() != "ward#1.yaml" || c.Share() != "" {
		t.Error("a file with a mark in its name is not read")
	}
}
