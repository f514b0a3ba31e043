package archtest

import (
	"maps"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// dials are the only folders that open connections, each with what of the
// configuration asks for it. Another one has to be listed in cmd/weald/leaves.go, in
// the table of webui/src/notes/record.md, and here.
var dials = map[string]string{
	"ingest/tcp/wire":                    "a bridge's link, and what connects for others",
	"ingest/mqtt":                        "a bridge's link",
	"ingest/mqtt/mosquitto":              "tests only",
	"ingest/emulate/hospital":            "weald emulate, to a daemon that it is told of",
	"ingest/ble/bluez":                   "the bus of this machine",
	"ingest/ble/standin":                 "tests and the demonstration: a bus of their own",
	"stream/access/directory":            "log-ins at a directory",
	"stream/pulse/systemd":               "the service manager of this machine",
	"stream/notify/mail":                 "a sender",
	"stream/notify/topic":                "a sender",
	"stream/notify/webhook":              "a sender",
	"stream/journal/replicated/natstest": "tests only",

	"cmd/weald": "commands, to the daemon on this machine",
}

var dialling = regexp.MustCompile(`\bnet\.Dial|\bnet\.Dialer\b|\btls\.Dial|\bhttp\.(Get|Head|Post|PostForm|Client|DefaultClient|Transport|DefaultTransport|NewRequest\w*)\b|\bsmtp\.(Dial|SendMail|NewClient)|\bdbus\.(Dial|Connect)|\bwebsocket\.(Dialer|DefaultDialer)|\bnet\.(Lookup\w+|Resolver)\b|\bpaho\w*\.|autopaho`)

// Nothing opens a connection but what is listed: what leaves this machine is a list in
// one place.
func TestWhoOpensConnections(t *testing.T) {
	found := map[string]bool{}
	sources(t, func(path, text string) {
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return
		}
		folder := filepath.Dir(path)
		for line := range strings.Lines(text) {
			code, _, _ := strings.Cut(line, "//")
			if !dialling.MatchString(code) {
				continue
			}
			if _, ok := dials[folder]; !ok {
				t.Errorf("%s may open connections, and is not among those that do: %s", path, strings.TrimSpace(line))
			}
			found[folder] = true
		}
	})
	for _, folder := range slices.Sorted(maps.Keys(dials)) {
		if !found[folder] {
			t.Errorf("%s opens no connection any more", folder)
		}
	}
}
