package main

import (
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"weald/ingest/tcp/wire/wiretest"
)

var (
	onlyWorks = flag.String("works", "", "of what TestProfile and TestGuided have the program do, only what has this in its name")
	liveFor   = flag.Duration("works.live", time.Minute, "how long they have a daemon run; once a minute it sums up what it keeps")
)

// A program is begun with arguments.
type program func(args ...string) *exec.Cmd

// A work is what the program does all day. It says what of a processor each program has
// used for the same.
type work struct {
	name string
	do   func(t *testing.T, programs ...program) []time.Duration
}

// worksIn are all works, on recordings in a folder.
func worksIn(t *testing.T, dir string) []work {
	t.Helper()
	put := func(name, text string) string {
		name = filepath.Join(dir, name)
		must(t, os.WriteFile(name, []byte(text), 0o600))
		return name
	}
	capture, data := filepath.Join(dir, "day.cap"), filepath.Join(dir, "data")
	writeDay(t, capture)
	keepDay(t, data)
	leg, _ := writeLegForNumPy(t, dir, 24)
	live := strings.Replace(benchConfig, "file: {path: bed.cap}", "serial: {port: /dev/ttyACM0, baud: 115200}", 1)
	all := []work{
		{"rehearse a day of a mat, of a capture", rehearses("-c", put("mat.yaml", benchConfig), "--input", "hub="+capture)},
		{"rehearse a day of a mat, of the record", rehearses("-c", put("kept.yaml", "data: "+data+"\n"+live))},
		{"rehearse a day of four channels, of rows", rehearses("-c", put("four.yaml", numpyFour), "--input", "hub="+leg)},
		{"live: 50 mats", crowd{scenario: "bed", way: "tcp", rate: 10}.lives(50)},
		{"live: 200 wraps", crowd{scenario: "wrap", way: "tcp", rate: 10}.lives(200)},
		{"live: 50 wraps over MQTT", crowd{scenario: "wrap", way: "mqtt", rate: 10}.lives(50)},
	}
	return slices.DeleteFunc(all, func(w work) bool { return !strings.Contains(w.name, *onlyWorks) })
}

// rehearses is one program after the other.
func rehearses(args ...string) func(t *testing.T, programs ...program) []time.Duration {
	return func(t *testing.T, programs ...program) (used []time.Duration) {
		for _, b := range programs {
			cmd := b(append([]string{"rehearse", "--json"}, args...)...)
			if said, err := cmd.CombinedOutput(); err != nil {
				t.Fatalf("%v: %s", err, said)
			}
			used = append(used, cmd.ProcessState.UserTime()+cmd.ProcessState.SystemTime())
		}
		return used
	}
}

// lives is a daemon of each program, all at once as what a minute costs is much to do with
// what else the machine does; with a record, rules and pages open. What it uses is of
// as many scans as are due.
func (l crowd) lives(n int) func(t *testing.T, programs ...program) []time.Duration {
	return func(t *testing.T, programs ...program) (used []time.Duration) {
		var all []*victim
		for _, b := range programs {
			path := filepath.Join(t.TempDir(), "weald.yaml")
			source := playMany(t, path, l.scenario, "--places", strconv.Itoa(n), "--rate", strconv.Itoa(l.rate), "--"+l.way, wiretest.Vacant(t))
			v := &victim{t: t, cmd: b("run", "-c", path)}
			v.begin()
			v.serves()
			for i := range pagesOpen {
				openPage(t, v.address, l.wish(i, n))
			}
			defer source.end()
			defer v.end()
			all = append(all, v)
		}
		time.Sleep(4 * time.Second) // until all have begun
		for _, v := range all {
			used = append(used, -busyOf(t, v.cmd.Process.Pid))
		}
		before := make([]int, len(all))
		for i, v := range all {
			before[i] = judged(t, v.address)
		}
		time.Sleep(*liveFor)
		for i, v := range all {
			share := float64(judged(t, v.address)-before[i]) / (liveFor.Seconds() * float64(n*l.rate))
			used[i] = time.Duration(float64(used[i]+busyOf(t, v.cmd.Process.Pid)) / share)
		}
		return used
	}
}

// wish is what the i-th of some pages asks for.
func (l crowd) wish(i, places int) string {
	if i%2 == 0 {
		return `{"subscribe":{"places":"all","signals":[],"maps":[],"bare":true}}`
	}
	place := fmt.Sprintf("%s-%d", l.scenario, 1+i%places)
	return fmt.Sprintf(`{"subscribe":{"places":[%q],"signals":["%s/*"],"maps":[%q]}}`, place, place, place)
}
