package main

import (
	"bytes"
	"fmt"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"weald/ingest/raced"
	"weald/stream/journal/sqlite"
)

// A seat that two sensors bear, on a bridge that nobody plays.
const seatLinkConfig = `
data: %s
web: {listen: %q}
bridges:
  - id: chairs
    link: {tcp: {dial: "127.0.0.1:9"}}
    format: packed
    sources: [{number: 1, id: seat, channels: 2, rate: 5, unit: mmHg}]
places:
  - {id: seat-1, kind: seat, sites: [{id: left, channels: [chairs/seat/0]}, {id: right, channels: [chairs/seat/1]}]}
rules:
  - {id: shift, at: {kind: seat}, relief: {interval: 30m}, priority: low}
`

var linkForm = regexp.MustCompile(`/seat/#([A-Z2-7]{26,})\n\nLink (l-[a-z2-7]+) to seat-1`)

// A link is made from a terminal, opens its seat also after a restart, is withdrawn,
// and stays so; the folder of the record never has its key, and nothing of it is an
// input of the rules, so that a rehearsal of the record judges as without it.
func TestLinksFromATerminal(t *testing.T) {
	raced.Skip(t, "one command after the other")
	data := t.TempDir()
	weald := func(want int, args ...string) string {
		t.Helper()
		var out bytes.Buffer
		if code := run(t.Context(), args, &out, &out); code != want {
			t.Fatalf("weald %v ended with %d, want %d: %s", args, code, want, &out)
		}
		return out.String()
	}
	opens := func(address, key string, want int) {
		t.Helper()
		r, err := http.NewRequest(http.MethodGet, address+"/api/v1/my-seat", nil)
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Authorization", "Bearer "+key)
		answer, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		answer.Body.Close()
		if answer.StatusCode != want {
			t.Errorf("the link is answered with %d, want %d", answer.StatusCode, want)
		}
	}
	// daemon runs one, and lets commands find it.
	daemon := func(then func(address, config string)) {
		t.Run("run", func(t *testing.T) {
			address := start(t, "run", "-c", write(t, "weald.yaml", fmt.Sprintf(seatLinkConfig, data, "127.0.0.1:0")))
			then(address, write(t, "weald.yaml", fmt.Sprintf(seatLinkConfig, data, strings.TrimPrefix(address, "http://"))))
		})
	}
	var key, id string
	daemon(func(address, config string) {
		said := weald(0, "seat", "link", "-c", config, "seat-1", "--by", "N-4", "--why", "afternoon")
		found := linkForm.FindStringSubmatch(said)
		if found == nil || !strings.Contains(said, "no phone reaches") {
			t.Fatalf("it says %s", said)
		}
		key, id = found[1], found[2]
		opens(address, key, 200)
		opens(address, key[1:]+"A", 401)
		if said := weald(0, "seat", "links", "-c", config); !strings.Contains(said, id+"  seat-1  made") || strings.Contains(said, key) {
			t.Errorf("the list is %s", said)
		}
		for wrong, says := range map[string]string{"seat link seat-1": "--by", "seat revoke": "accepts 1 arg", "seat link seat-1 --by N-4": "which daemon"} {
			args := strings.Fields(wrong)
			if says != "which daemon" {
				args = append(args, "-c", config)
			}
			if said := weald(2, args...); !strings.Contains(said, says) {
				t.Errorf("%s: %s", wrong, said)
			}
		}
		if said := weald(1, "seat", "link", "-c", config, "seat-1", "--by", "Pat"); !strings.Contains(said, "looks like a name") {
			t.Errorf("a name: %s", said)
		}
	})
	daemon(func(address, config string) {
		opens(address, key, 200)
		if said := weald(0, "seat", "revoke", "-c", config, id, "--by", "N-5", "--why", "lost phone"); !strings.Contains(said, "is withdrawn") {
			t.Errorf("it says %s", said)
		}
		opens(address, key, 401)
		weald(1, "seat", "revoke", "-c", config, id, "--by", "N-5")
	})
	daemon(func(address, config string) { opens(address, key, 401) })

	if all := everythingIn(t, data); len(all) < 1000 || bytes.Contains(bytes.ToUpper(all), []byte(key)) {
		t.Errorf("the key is in the %d bytes of the record", len(all))
	}
	store, err := sqlite.Open(t.Context(), data, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	for in, err := range store.Inputs(t.Context(), 0, 1<<62) {
		if err != nil || in.Entry != nil {
			t.Errorf("an input of the rules: %+v %v", in, err)
		}
	}
}

// A code is drawn dark on light, whatever the terminal, with its margin.
func TestPrintedQR(t *testing.T) {
	var out bytes.Buffer
	printQR(&out, []string{"100", "010", "110"})
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	if len(lines) != 6 || !strings.Contains(lines[2], "m    ▀▄     \x1b") || !strings.Contains(lines[3], "m    ▀▀     \x1b") || strings.ContainsAny(lines[0]+lines[1]+lines[4]+lines[5], "▀▄█") {
		t.Errorf("%q", lines)
	}
}
