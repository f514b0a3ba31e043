package main

import (
	"database/sql"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/gorilla/websocket"

	"weald/ingest/processor"
	"weald/ingest/raced"
	"weald/ingest/tcp/wire/wiretest"
)

// How TestScale goes about it.
var (
	scaleTo   = flag.String("scale", "", "the folder to put the figures, the plot and the text of TestScale into; without it the test is skipped")
	scaleFor  = flag.Duration("scale.for", 8*time.Second, "for how long each number of places is watched")
	scaleMost = flag.Int("scale.most", math.MaxInt, "the most places to try")
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

// A spell is how a number of places is watched.
type spell struct {
	settles, lasts time.Duration
	rings          int           // of the bell
	waits          time.Duration // for the last of them to be heard
}

const (
	alertWithin = 300 * time.Millisecond // from byte to alert, of 99 in 100
	leastShare  = 0.97
	pagesOpen   = 10
)

// How many places one daemon carries, with a record, rules and ten pages open, beside
// the program that plays them; and what it takes for each number up to that.
func TestScale(t *testing.T) {
	if *scaleTo == "" {
		t.Skip("by hand: make scale")
	}
	if err := os.MkdirAll(*scaleTo, 0o755); err != nil {
		t.Fatal(err)
	}
	var all []point
	for _, l := range crowds {
		for _, n := range l.steps {
			if n > *scaleMost {
				break
			}
			var p point
			for range 2 { // a machine may have had something else to do
				t.Run(fmt.Sprintf("%d %s", n, l.name), func(t *testing.T) {
					p = l.try(t, n, spell{4 * time.Second, *scaleFor, 100, 5 * time.Second})
				})
				if t.Logf("%+v", p); p.carried() {
					break
				}
			}
			if all = append(all, p); !p.carried() {
				break
			}
		}
	}
	if err := writeScale(*scaleTo, all); err != nil {
		t.Fatal(err)
	}
}

// What was sent is in the record, all of it and nothing else, over either way. This is
// TestScale in small, on a machine that may have much else to do.
func TestWhatManyPlacesSendIsKept(t *testing.T) {
	raced.Skip(t, "what many places send, against the clock")
	t.Parallel()
	for _, l := range []crowd{
		{name: "mats", scenario: "bed", way: "tcp", rate: 4},
		{name: "wraps", scenario: "wrap", way: "mqtt", rate: 20},
	} {
		t.Run(l.name, func(t *testing.T) {
			t.Parallel()
			const places, rings = 3, 20
			enough := func(p *point) bool { return p.kept >= places*l.rate }
			for lasts := 2 * time.Second; ; lasts *= 2 { // where little is sent in that time it is longer
				p := l.try(t, places, spell{time.Second, lasts, rings, longEnough})
				if t.Logf("%+v", p); !p.heard || p.said {
					t.Errorf("%d of %d scans are kept, all rings were heard: %t, the daemon says that some were lost: %t", p.kept, p.sent, p.heard, p.said)
				}
				if enough(&p) {
					return
				}
				if lasts > 30*time.Second {
					t.Fatalf("in %v %d scans are kept: too few to prove anything", lasts, p.kept)
				}
			}
		})
	}
}

// try watches a daemon with n places of the crowd.
func (l crowd) try(t *testing.T, n int, how spell) point {
	dir := t.TempDir()
	path := filepath.Join(dir, "weald.yaml")
	source := playMany(t, path, l.scenario, "--places", strconv.Itoa(n), "--rate", strconv.Itoa(l.rate), "--"+l.way, wiretest.Vacant(t))
	config, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	bell := newBell(t, how.rings)
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
	time.Sleep(how.settles) // until all have begun

	p := point{crowd: l.name, places: n, processors: runtime.NumCPU()}
	busy := func() [3]time.Duration {
		return [3]time.Duration{busyOf(t, v.cmd.Process.Pid), busyOf(t, source.cmd.Process.Pid), busyOf(t, os.Getpid())}
	}
	began, before, scans, wrote := time.Now(), busy(), judged(t, v.address), writtenBy(t, v.cmd.Process.Pid)
	for range how.rings {
		bell.ring()
		time.Sleep(how.lasts / time.Duration(how.rings))
	}
	lasted, after := time.Since(began).Seconds(), busy()
	p.disk = (writtenBy(t, v.cmd.Process.Pid) - wrote) / 1e6 / lasted
	// Of each place a scan may have been on its way at either end.
	due := time.Since(began).Seconds() * float64(n*l.rate)
	p.share = min(1, float64(judged(t, v.address)-scans-how.rings+n)/due)
	p.daemon, p.source, p.pages = (after[0]-before[0]).Seconds()/lasted, (after[1]-before[1]).Seconds()/lasted, (after[2]-before[2]).Seconds()/lasted
	var took []time.Duration
	took, p.heard = bell.heard(how.waits)
	if k := len(took); k > 0 {
		p.p50, p.p99 = took[(k-1)*50/100], took[(k-1)*99/100]
	}
	fmt.Sscanf(regexp.MustCompile(`VmRSS (\d+)`).FindString(strings.ReplaceAll(memoryOf(t, v.cmd.Process.Pid), ":", "")), "VmRSS %f", &p.mb)
	p.mb /= 1024
	p.count(t, source, v, filepath.Join(dir, "record"), how.rings)
	return p
}

// count ends the sources first, and then the daemon when it has taken what they sent,
// each in order, and holds what is in the record to what was sent.
func (p *point) count(t *testing.T, source *player, v *victim, data string, rings int) {
	t.Helper()
	p.sent, p.begun = source.end()
	for last, since := 0, time.Now(); last < p.sent+rings && time.Since(since) < 10*time.Second; time.Sleep(50 * time.Millisecond) {
		if now := judged(t, v.address); now > last {
			last, since = now, time.Now()
		}
	}
	v.end()
	store, done := recordIn(t, data)
	defer done()
	heard := 0
	for in, err := range store.Inputs(t.Context(), 1, math.MaxUint64) {
		switch {
		case err != nil:
			t.Fatal(err)
		case in.Scan == nil:
		case strings.HasPrefix(in.Source, "bell/"):
			heard++
		default:
			p.kept++
		}
	}
	p.said = tallied(t, store).faults > 0
	done()
	p.bytes = float64(sizeOf(t, data)) / float64(p.kept+heard)
	// What a source had begun to send when it was ended may have come or not.
	switch {
	case p.kept > p.begun || heard > rings:
		t.Errorf("%d scans and %d rings are kept, of %d and %d", p.kept, heard, p.begun, rings)
	case (p.kept < p.sent || heard < rings) && !p.said:
		t.Errorf("%d scans and %d rings are kept, of %d and %d, and the record says nothing of it: %s", p.kept, heard, p.sent, rings, v.stderr.String())
	}
}

// A player is a process that plays many places.
type player struct {
	t     *testing.T
	cmd   *exec.Cmd
	said  log
	ended bool
}

// playMany plays places until the test ends, and waits until their configuration is
// written.
func playMany(t *testing.T, config, scenario string, args ...string) *player {
	t.Helper()
	s := &player{t: t, cmd: exec.Command(os.Args[0], append([]string{"emulate", scenario, "--pages", "127.0.0.1:0", "--write-config", config}, args...)...)}
	s.cmd.Env = append(os.Environ(), asProgram+"=1")
	s.cmd.Stderr = &s.said
	if err := s.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if !s.ended {
			_ = s.cmd.Process.Kill()
			_ = s.cmd.Wait()
		}
	})
	eventually(t, longEnough, func() error {
		if !strings.Contains(s.said.String(), "playing at") {
			return fmt.Errorf("not playing: %s", s.said.String())
		}
		return nil
	})
	return s
}

// end ends it in order, and returns how many scans it has sent, and begun to send.
func (s *player) end() (sent, begun int) {
	s.t.Helper()
	s.ended = true
	interrupt(s.t, s.cmd, &s.said)
	says := s.said.String()
	if _, err := fmt.Sscanf(says[max(0, strings.LastIndex(says, "weald: ")):], "weald: %d scans were sent, of %d that were begun", &sent, &begun); err != nil {
		s.t.Fatalf("it does not say how many it has sent: %v: %s", err, says)
	}
	return sent, begun
}

// openPage is a page that confirms what it takes in, as those of a browser do.
func openPage(t *testing.T, address, wish string) {
	t.Helper()
	follow(t, address, wish, func(conn *websocket.Conn, kind int, body []byte) {
		if kind == websocket.BinaryMessage {
			got, _ := json.Marshal(map[string]uint32{"got": uint32(body[4]) | uint32(body[5])<<8 | uint32(body[6])<<16 | uint32(body[7])<<24})
			_ = conn.WriteMessage(websocket.TextMessage, got)
		}
	})
}

// busyOf is how much of processors a process has used.
func busyOf(t *testing.T, pid int) time.Duration {
	t.Helper()
	if pid == os.Getpid() {
		return processor.Used(t)
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

// judged is how many scans the daemon has taken. Where a machine has much else to do it may
// have to be asked again.
func judged(t *testing.T, address string) (n int) {
	t.Helper()
	eventually(t, longEnough, func() error {
		for line := range strings.Lines(text(t, address, "/metrics")) {
			if number, ok := strings.CutPrefix(line, "weald_pipeline_scans_total "); ok {
				v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
				n = int(v)
				return err
			}
		}
		return errors.New("the daemon does not say how many scans it has taken")
	})
	return n
}

// writtenBy is how many bytes a process has had written to a disk so far (proc(5)).
func writtenBy(t *testing.T, pid int) (n float64) {
	t.Helper()
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/io", pid))
	if err != nil {
		t.Fatal(err)
	}
	_, after, _ := strings.Cut(string(b), "\nwrite_bytes: ")
	if _, err := fmt.Sscan(after, &n); err != nil {
		t.Fatal(err)
	}
	return n
}

// sizeOf is how many bytes the readings in a record have.
func sizeOf(t *testing.T, dir string) (n int64) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "*.db"))
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		db, err := sql.Open("sqlite", file)
		if err != nil {
			t.Fatal(err)
		}
		var has int64
		if err := db.QueryRow("SELECT SUM(LENGTH(body)) FROM blocks").Scan(&has); err == nil { // else it is the main file
			n += has
		}
		db.Close()
	}
	return n
}
