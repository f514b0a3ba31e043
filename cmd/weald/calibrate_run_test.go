package main

import (
	"bytes"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// A bench daemon plays one run: each /ready reads the next of three pressures.
type benchDaemon struct {
	asked []string
	next  int
	kept  bool
	said  float64 // what the gauge was said to show at the first
}

func (b *benchDaemon) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	step := strings.TrimPrefix(r.URL.Path, "/api/v1/calibrations/run")
	if r.Method == http.MethodPost {
		b.asked = append(b.asked, step)
	}
	var body bytes.Buffer
	_, _ = body.ReadFrom(r.Body)
	switch step {
	case "/ready":
		b.next++
	case "/again":
		if b.next == 0 {
			w.WriteHeader(http.StatusUnprocessableEntity)
			fmt.Fprint(w, `{"detail": "nothing has been read yet"}`)
			return
		}
		b.next--
	case "/gauge":
		_, _ = fmt.Sscanf(body.String(), `{"level":0,"mmhg":%g}`, &b.said)
	case "/keep":
		b.kept = true
	case "":
		if r.Method == http.MethodPost && !strings.Contains(body.String(), `"channels":[0,1,3]`) {
			w.WriteHeader(http.StatusTeapot)
			return
		}
	}
	kept := ""
	if b.kept {
		kept = "abc"
	}
	fmt.Fprintf(w, `{"runs": [{"levels": [{"cycle": 1, "direction": "up", "reference_mmhg": %g, "raw": [100, null, 101]},
		{"cycle": 1, "direction": "up", "reference_mmhg": 50, "raw": [500, 77, 510]}, {"cycle": 1, "direction": "up", "reference_mmhg": 100, "raw": [900, 77, 910]}],
		"next": %d, "finished": %v, "channels": [{"channel": 0, "state": "accepted", "reasons": [], "u_highest_mmhg": 1.83, "kept": %q},
		{"channel": 1, "state": "refused", "reasons": ["the channel does not respond"], "u_highest_mmhg": null, "kept": ""}]}]}`, b.said, b.next, b.next == 3, kept)
}

func TestATerminalLeadsThroughACalibration(t *testing.T) {
	b := &benchDaemon{}
	server := httptest.NewServer(b)
	defer server.Close()
	f := leadFlags{source: "trolley/leg", keep: true, wish: leadWish{Channels: []int{0, 1, 3}, Keyed: true}}
	lines := make(chan string, 8)
	for _, line := range []string{"again", "", "1,5", "nonsense", "", ""} {
		lines <- line
	}
	var out bytes.Buffer
	d := &leader{at: server.URL + "/api/v1/calibrations/run", out: &out, said: -1}
	if err := d.lead(t.Context(), &f, lines); !errors.Is(err, errFound) {
		t.Errorf("a channel was refused, and the error is %v", err)
	}
	for _, want := range []string{
		" 1 of 3, cycle 1 up: go to 0 mmHg\n", "the running daemon says: nothing has been read yet\n",
		"read at 0 mmHg; 1 of 3 channels did not settle there\n 2 of 3, cycle 1 up: go to 50 mmHg\n", `"nonsense": want Enter, a pressure`,
		"trolley/leg/0: accepted, u 1.8 mmHg at most, in force as abc\n", "trolley/leg/1: refused\n  the channel does not respond\n",
	} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("nothing says %q in\n%s", want, out.String())
		}
	}
	if got := strings.Join(b.asked, " "); got != " /again /ready /gauge /ready /ready /keep /leave" || b.said != 1.5 {
		t.Errorf("asked%s, the gauge showed %g", got, b.said)
	}
}

// Whoever leaves, or whose input ends while pressures wait for a key, does not
// leave the daemon waiting.
func TestATerminalThatEnds(t *testing.T) {
	for _, left := range []bool{true, false} {
		b := &benchDaemon{}
		server := httptest.NewServer(b)
		lines := make(chan string, 1)
		if left {
			lines <- "leave"
		}
		close(lines)
		f := leadFlags{wish: leadWish{Channels: []int{0, 1, 3}, Keyed: true}}
		err := (&leader{at: server.URL + "/api/v1/calibrations/run", out: new(bytes.Buffer), said: -1}).lead(t.Context(), &f, lines)
		if (err == nil) != left || b.asked[len(b.asked)-1] != "/leave" {
			t.Errorf("left %v: %v, asked %v", left, err, b.asked)
		}
		server.Close()
	}
}

func TestChannelLists(t *testing.T) {
	for text, want := range map[string]string{"0": "[0]", "0-2,7": "[0 1 2 7]", " 3 , 5": "[3 5]"} {
		if got, err := channelList(text); err != nil || fmt.Sprint(got) != want {
			t.Errorf("%q: %v, %v", text, got, err)
		}
	}
	for _, text := range []string{"", "a", "2-1", "-1", "0,", "1-2-3", "0-99999999"} {
		if got, err := channelList(text); err == nil {
			t.Errorf("%q: %v", text, got)
		}
	}
}
