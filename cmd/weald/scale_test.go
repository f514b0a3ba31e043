package main

import (
	"encoding/csv"
	"encoding/json"
	"flag"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/gorilla/websocket"

	"weald/ingest/tcp/wire/wiretest"
	"weald/stream/live"
)

// How TestScale goes about it.
var (
	scaleTo  = flag.String("scale", "", "the folder to put the figures and the plot of TestScale into; without it the test is skipped")
	scaleFor = flag.Duration("scale.for", 8*time.Second, "for how long each number of places is watched")
)

// A crowd is a kind of place that there may be many of.
type crowd struct {
	name, scenario, way string
	rate                int
	steps               []int // numbers of places, until one is too many
}

var crowds = []crowd{
	{"mats, 1 scan a second", "bed", "tcp", 1, []int{1, 10, 100, 200, 400, 800, 1200, 1600, 2400}},
	{"mats, 10 scans a second", "bed", "tcp", 10, []int{1, 10, 20, 50, 100, 150, 200, 300}},
	{"wraps, 10 scans a second", "wrap", "tcp", 10, []int{1, 10, 100, 500, 1000, 1500, 2000, 3000}},
	{"wraps over MQTT, 10 scans a second", "wrap", "mqtt", 10, []int{1, 10, 100, 200, 400, 800}},
}

// A point is what a daemon does with some places of a crowd.
type point struct {
	crowd  string
	places int

	daemon, source, pages float64 // processors that each keeps busy; pages are the viewers' side and the bell
	mb                    float64 // resident memory of the daemon
	p50, p99              time.Duration
	share                 float64 // of the scans that were due, those that were judged
	heard                 bool    // every ring of the bell was heard
}

const (
	alertWithin = 300 * time.Millisecond // from byte to alert, of 99 in 100
	leastShare  = 0.97
	rings       = 100
	pagesOpen   = 10
)

// carried reports whether the daemon keeps up.
func (p *point) carried() bool { return p.heard && p.p99 < alertWithin && p.share >= leastShare }

// How many places one daemon carries, with a record, rules and ten pages open, beside
// the program that plays them; and what it takes for each number up to that.
func TestScale(t *testing.T) {
	if *scaleTo == "" {
		t.Skip("by hand: make scale")
	}
	var all []point
	for _, l := range crowds {
		for _, n := range l.steps {
			var p point
			for range 2 { // a machine may have had something else to do
				t.Run(fmt.Sprintf("%d %s", n, l.name), func(t *testing.T) { p = l.try(t, n) })
				if t.Logf("%+v", p); p.carried() {
					break
				}
			}
			all = append(all, p)
			if !p.carried() {
				break
			}
		}
	}
	if err := os.MkdirAll(*scaleTo, 0o755); err != nil {
		t.Fatal(err)
	}
	f, err := os.Create(filepath.Join(*scaleTo, "scale.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	w := csv.NewWriter(f)
	w.Write([]string{"load", "places", "daemon_processors", "source_processors", "pages_processors", "daemon_mb", "alert_p50_ms", "alert_p99_ms", "judged_share", "carried"})
	for _, p := range all {
		ms := func(d time.Duration) string { return fmt.Sprintf("%.1f", float64(d)/1e6) }
		w.Write([]string{p.crowd, strconv.Itoa(p.places), fmt.Sprintf("%.3f", p.daemon), fmt.Sprintf("%.3f", p.source), fmt.Sprintf("%.3f", p.pages),
			fmt.Sprintf("%.0f", p.mb), ms(p.p50), ms(p.p99), fmt.Sprintf("%.3f", p.share), strconv.FormatBool(p.carried())})
	}
	if w.Flush(); w.Error() != nil {
		t.Fatal(w.Error())
	}
	if err := os.WriteFile(filepath.Join(*scaleTo, "scale.svg"), plotScale(all), 0o644); err != nil {
		t.Fatal(err)
	}
}

// try watches a daemon with n places of the crowd.
func (l crowd) try(t *testing.T, n int) point {
	dir := t.TempDir()
	path := filepath.Join(dir, "weald.yaml")
	source := exec.Command(os.Args[0], "emulate", l.scenario, "--places", strconv.Itoa(n), "--rate", strconv.Itoa(l.rate),
		"--"+l.way, wiretest.Vacant(t), "--pages", "127.0.0.1:0", "--write-config", path)
	source.Env = append(os.Environ(), asProgram+"=1")
	var said log
	source.Stderr = &said
	if err := source.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = source.Process.Signal(os.Interrupt); _ = source.Wait() })
	var config []byte
	eventually(t, 30*time.Second, func() (err error) {
		if !strings.Contains(said.String(), "playing at") {
			return fmt.Errorf("not playing: %s", said.String())
		}
		config, err = os.ReadFile(path)
		return err
	})
	bell := newBell(t, rings)
	if err := os.WriteFile(path, []byte(bell.hang(string(config))), 0o600); err != nil {
		t.Fatal(err)
	}
	v := launch(t, path)
	bell.connect()
	watch(t, v.address, bell.hear)
	for i := range pagesOpen {
		place := fmt.Sprintf("%s-%d", l.scenario, 1+i%n)
		wish := fmt.Sprintf(`{"subscribe":{"places":[%q],"signals":["%s/*"],"maps":[%q]}}`, place, place, place)
		if i%2 == 0 {
			wish = `{"subscribe":{"places":"all","signals":[],"maps":[],"bare":true}}`
		}
		openPage(t, v.address, wish)
	}
	time.Sleep(4 * time.Second) // until all have begun

	p := point{crowd: l.name, places: n}
	busy := func() [3]time.Duration {
		return [3]time.Duration{busyOf(t, v.cmd.Process.Pid), busyOf(t, source.Process.Pid), busyOf(t, os.Getpid())}
	}
	began, before, scans := time.Now(), busy(), judged(t, v.address)
	for range rings {
		bell.ring()
		time.Sleep(*scaleFor / rings)
	}
	lasted, after := time.Since(began).Seconds(), busy()
	// Of each place a scan may have been on its way at either end.
	due := time.Since(began).Seconds() * float64(n*l.rate)
	p.share = min(1, float64(judged(t, v.address)-scans-rings+n)/due)
	p.daemon, p.source, p.pages = (after[0]-before[0]).Seconds()/lasted, (after[1]-before[1]).Seconds()/lasted, (after[2]-before[2]).Seconds()/lasted
	var took []time.Duration
	took, p.heard = bell.heard(5 * time.Second)
	if k := len(took); k > 0 {
		p.p50, p.p99 = took[(k-1)*50/100], took[(k-1)*99/100]
	}
	fmt.Sscanf(regexp.MustCompile(`VmRSS (\d+)`).FindString(strings.ReplaceAll(memoryOf(t, v.cmd.Process.Pid), ":", "")), "VmRSS %f", &p.mb)
	p.mb /= 1024
	v.kill() // what it would do to end is not what is measured
	return p
}

// openPage is a page that confirms what it takes in, as those of a browser do.
func openPage(t *testing.T, address, wish string) {
	t.Helper()
	dialer := websocket.Dialer{Subprotocols: []string{live.Protocol}, HandshakeTimeout: 10 * time.Second, EnableCompression: true}
	conn, _, err := dialer.Dial("ws"+strings.TrimPrefix(address, "http")+"/live", http.Header{"Origin": {address}})
	if err != nil {
		t.Fatal(err)
	}
	if err := conn.WriteMessage(websocket.TextMessage, []byte(wish)); err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	t.Cleanup(func() { conn.Close(); <-done })
	go func() {
		defer close(done)
		for {
			kind, body, err := conn.ReadMessage()
			if err != nil {
				return
			}
			if kind == websocket.BinaryMessage {
				got, _ := json.Marshal(map[string]uint32{"got": uint32(body[4]) | uint32(body[5])<<8 | uint32(body[6])<<16 | uint32(body[7])<<24})
				_ = conn.WriteMessage(websocket.TextMessage, got)
			}
		}
	}()
}

// busyOf is how much of processors a process has used.
func busyOf(t *testing.T, pid int) time.Duration {
	t.Helper()
	if pid == os.Getpid() {
		var u syscall.Rusage
		if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
			t.Fatal(err)
		}
		return time.Duration(u.Utime.Nano() + u.Stime.Nano())
	}
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		t.Fatal(err)
	}
	const tick = time.Second / 100 // USER_HZ, 100 on every Linux that Go runs on
	_, after, _ := strings.Cut(string(b), ") ")
	fields := strings.Fields(after) // from the third on: proc(5)
	user, _ := strconv.Atoi(fields[11])
	system, _ := strconv.Atoi(fields[12])
	return time.Duration(user+system) * tick
}

// judged is how many scans the daemon has taken.
func judged(t *testing.T, address string) (n int) {
	t.Helper()
	for line := range strings.Lines(text(t, address, "/metrics")) {
		if number, ok := strings.CutPrefix(line, "weald_pipeline_scans_total "); ok {
			v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
			if err != nil {
				t.Fatal(err)
			}
			return int(v)
		}
	}
	t.Fatal("the daemon does not say how many scans it has taken")
	return 0
}
