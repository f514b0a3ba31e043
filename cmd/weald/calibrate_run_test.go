package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
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
	deaf  int     // polls that are not answered
	full  bool    // nothing can be kept
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
		_, _ = fmt.Sscanf(body.String(), `{"level":0,"mmhg":%g,"run":"c-7"`, &b.said)
		if b.said < 10 && !strings.Contains(body.String(), `"sure":true`) {
			w.WriteHeader(http.StatusUnprocessableEntity)
			fmt.Fprint(w, `{"detail": "it looks like kPa"}`)
			return
		}
	case "/keep":
		if b.full {
			w.WriteHeader(http.StatusServiceUnavailable)
			fmt.Fprint(w, `{"detail": "the disk is full"}`)
			return
		}
		b.kept = true
	case "":
		if r.Method == http.MethodGet && b.deaf > 0 {
			b.deaf--
			w.WriteHeader(http.StatusBadGateway)
			return
		}
		if r.Method == http.MethodPost && !strings.Contains(body.String(), `"channels":[0,1,3]`) {
			w.WriteHeader(http.StatusTeapot)
			return
		}
	}
	if step != "" && !strings.Contains(body.String(), `"run":"c-7"`) {
		w.WriteHeader(http.StatusConflict)
		return
	}
	kept := ""
	if b.kept {
		kept = "abc"
	}
	fmt.Fprintf(w, `{"runs": [{"id": "c-7", "bridge": "trolley", "source": "leg", "keyed": true, "levels": [{"cycle": 1, "direction": "up", "reference_mmhg": %g, "raw": [100, null, 101], "doubt": %q},
		{"cycle": 1, "direction": "up", "reference_mmhg": 50, "raw": [500, 77, 510]}, {"cycle": 1, "direction": "up", "reference_mmhg": 100, "raw": [900, 77, 910]}],
		"next": %d, "finished": %v, "channels": [{"channel": 0, "state": "accepted", "reasons": [], "u_highest_mmhg": 1.83, "kept": %q},
		{"channel": 1, "state": "refused", "reasons": ["the channel does not respond"], "u_highest_mmhg": null, "kept": ""}]}]}`, b.said, map[bool]string{true: "look at the gauge"}[b.said > 0], b.next, b.next == 3, kept)
}

func TestATerminalLeadsThroughACalibration(t *testing.T) {
	b := &benchDaemon{}
	server := httptest.NewServer(b)
	defer server.Close()
	f := leadFlags{source: "trolley/leg", keep: true, wish: leadWish{Channels: []int{0, 1, 3}, Keyed: true}}
	lines := make(chan string, 8)
	for _, line := range []string{"again", "", "1,5", "2 kPa", "nonsense", "", ""} {
		lines <- line
	}
	var out bytes.Buffer
	d := &leader{at: server.URL + "/api/v1/calibrations/run", out: &out, said: -1}
	if err := d.lead(t.Context(), &f, lines); !errors.Is(err, errFound) {
		t.Errorf("a channel was refused, and the error is %v", err)
	}
	for _, want := range []string{
		" 1 of 3, cycle 1 up: go to 0 mmHg\n", "the running daemon says: nothing has been read yet\n",
		"the running daemon says: it looks like kPa\n", "   in doubt: look at the gauge\n", "cycle 1 up, 15 mmHg is in doubt: look at the gauge\n",
		"read at 0 mmHg; 1 of 3 channels did not settle there\n 2 of 3, cycle 1 up: go to 50 mmHg\n", `"nonsense": want Enter, a pressure`,
		"trolley/leg/0: accepted, u 1.8 mmHg at most, in force as abc\n", "trolley/leg/1: refused\n  the channel does not respond\n",
	} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("nothing says %q in\n%s", want, out.String())
		}
	}
	if got := strings.Join(b.asked, " "); got != " /again /ready /gauge /gauge /ready /ready /keep /leave" || b.said != 15 {
		t.Errorf("asked%s, the gauge showed %g", got, b.said)
	}
}

// Only who says "leave" throws away what was read: what ends otherwise stays at the
// daemon, and one is told how to go on with it.
func TestATerminalThatEnds(t *testing.T) {
	const resume = "weald calibrate run -c ward.yaml --resume"
	for name, c := range map[string]struct {
		daemon benchDaemon
		flags  leadFlags
		lines  []string
		stop   bool // the terminal is stopped
		open   bool // the input does not end
		says   string
		err    string
		last   string // that was asked
	}{
		"leave":              {lines: []string{"leave"}, last: "/leave"},
		"the input ends":     {err: "stays at the daemon; go on with it on the page Calibrate or by: " + resume, last: ""},
		"it is stopped":      {stop: true, open: true, err: "stays at the daemon; go on with it on the page Calibrate or by: " + resume, last: ""},
		"nothing is kept":    {lines: []string{"", "", ""}, says: "nothing of this is in force: it stays at the daemon", err: errFound.Error(), last: "/ready"},
		"keeping fails":      {daemon: benchDaemon{full: true}, flags: leadFlags{keep: true}, lines: []string{"", "", ""}, err: "the disk is full: the calibration stays", last: "/keep"},
		"it is resumed":      {daemon: benchDaemon{next: 3}, flags: leadFlags{keep: true, resume: true}, says: "in force as abc", err: errFound.Error(), last: "/leave"},
		"a number too early": {lines: []string{"12", "leave"}, says: "no pressure has been read yet", last: "/leave"},
	} {
		t.Run(name, func(t *testing.T) {
			b := &c.daemon
			server := httptest.NewServer(b)
			defer server.Close()
			ctx, stop := context.WithCancel(t.Context())
			defer stop()
			lines := make(chan string, 8)
			for _, line := range c.lines {
				lines <- line
			}
			if !c.open {
				close(lines)
			}
			c.flags.wish = leadWish{Channels: []int{0, 1, 3}, Keyed: true}
			var out bytes.Buffer
			d := &leader{at: server.URL + "/api/v1/calibrations/run", resume: resume, out: &out, said: -1}
			if c.stop {
				d.out = stopAtFirst{stop}
			}
			err := d.lead(ctx, &c.flags, lines)
			if (err == nil) != (c.err == "") || err != nil && !strings.Contains(err.Error(), c.err) || !strings.Contains(out.String(), c.says) {
				t.Errorf("%v\n%s", err, &out)
			}
			last := ""
			if len(b.asked) > 0 {
				last = b.asked[len(b.asked)-1]
			}
			if last != c.last {
				t.Errorf("asked %q", b.asked)
			}
		})
	}
}

// stopAtFirst stops a terminal as soon as it says something.
type stopAtFirst struct{ stop func() }

func (s stopAtFirst) Write(p []byte) (int, error) { s.stop(); return len(p), nil }

// A daemon that does not answer for a while is asked again, and both is said once.
func TestATerminalOutlastsADaemonThatDoesNotAnswer(t *testing.T) {
	t.Parallel()
	b := &benchDaemon{deaf: 2}
	server := httptest.NewServer(b)
	defer server.Close()
	lines := make(chan string, 1)
	var out bytes.Buffer
	d := &leader{at: server.URL + "/api/v1/calibrations/run", out: whenSaid{&out, "answers again", func() { lines <- "leave" }}, said: -1}
	if err := d.lead(t.Context(), &leadFlags{wish: leadWish{Channels: []int{0, 1, 3}}}, lines); err != nil {
		t.Error(err)
	}
	if got := out.String(); strings.Count(got, "502") != 1 || strings.Count(got, "the daemon answers again") != 1 {
		t.Error(got)
	}
}

// whenSaid does something when certain words are said.
type whenSaid struct {
	to    io.Writer
	words string
	do    func()
}

func (w whenSaid) Write(p []byte) (int, error) {
	if strings.Contains(string(p), w.words) {
		w.do()
	}
	return w.to.Write(p)
}

func TestTypedPressures(t *testing.T) {
	for line, want := range map[string]string{"40": "40 false", "10,4": "10.4 false", "5.3 kPa": "39.75 true", "5.3kpa": "39.75 true", "5.3 mmHg": "5.3 true"} {
		if v, sure, ok := typedPressure(line); !ok || fmt.Sprint(v, sure) != want {
			t.Errorf("%q is %v, %v, %v, want %s", line, v, sure, ok, want)
		}
	}
	for _, line := range []string{"nonsense", "5 psi", "kPa", "1,2,3", "-"} {
		if v, _, ok := typedPressure(line); ok {
			t.Errorf("%q is %v", line, v)
		}
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
