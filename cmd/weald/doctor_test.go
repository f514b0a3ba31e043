package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"weald/config"
	"weald/ingest/sample"
	"weald/ingest/tcp/wire/wiretest"
)

// finds returns what a doctor says when it is asked for something.
func finds(t *testing.T, ask func(*doctor)) (out []finding) {
	t.Helper()
	var said bytes.Buffer
	d := &doctor{out: &said, json: true, now: time.Date(2026, 11, 27, 12, 0, 0, 0, time.UTC)}
	ask(d)
	wrongs := 0
	for line := range strings.Lines(said.String()) {
		var f finding
		if err := json.Unmarshal([]byte(line), &f); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		if f.State == "wrong" {
			wrongs++
		}
		out = append(out, f)
	}
	if wrongs != d.wrongs {
		t.Errorf("%d things are wrong, and %d are counted", wrongs, d.wrongs)
	}
	return out
}

// reports checks that some finding has a state and says something, in what was found or in
// what to do.
func reports(t *testing.T, all []finding, state, text string) {
	t.Helper()
	for _, f := range all {
		if f.State == state && strings.Contains(f.String(), text) {
			return
		}
	}
	t.Errorf("nothing is %s and says %q: %+v", state, text, all)
}

func parsed(t *testing.T, text string) *config.Config {
	t.Helper()
	return parsedAs(t, filepath.Join(t.TempDir(), "weald.yaml"), text)
}

func TestDoctorOfLinks(t *testing.T) {
	dir := t.TempDir()
	file := write(t, "k07.csv", "1,2\n")
	bridge := func(id, link string) string {
		return fmt.Sprintf("  - {id: %s, link: %s, format: line, sources: [{number: 0, id: s, channels: 1, rate: 1}]}\n", id, link)
	}
	c := parsed(t, "bridges:\n"+bridge("gone", "{serial: {port: /dev/ttyACM77}}")+bridge("odd", fmt.Sprintf("{serial: {port: %q}}", file))+
		bridge("fine", "{serial: {port: /dev/null}}")+bridge("lost", "{file: {path: absent.csv}}")+bridge("read", fmt.Sprintf("{file: {path: %q}}", file)))
	all := finds(t, func(d *doctor) { d.links(c) })
	reports(t, all, "wrong", "bridge gone: there is no port /dev/ttyACM77; its places show nothing: plug it in")
	reports(t, all, "wrong", "is no serial port")
	reports(t, all, "wrong", "bridge lost: there is no file")
	reports(t, all, "ok", "bridge fine: port /dev/null is there")
	reports(t, all, "ok", "bridge read: file")

	info, err := os.Stat("/dev/tty")
	if err != nil {
		t.Fatal(err)
	}
	if do := permit(info); !strings.Contains(do, "usermod -aG tty") && !strings.Contains(do, "see ls -l") {
		t.Errorf("who may not use /dev/tty is told: %s", do)
	}
	if err := os.Symlink("../../ttyACM0", filepath.Join(dir, "usb-a-board")); err != nil {
		t.Fatal(err)
	}
	reports(t, finds(t, func(d *doctor) { d.named("bridge a", "/dev/ttyACM0", dir) }), "look", "name "+filepath.Join(dir, "usb-a-board"))
	for _, port := range []string{"/dev/ttyACM1", filepath.Join(dir, "usb-a-board")} {
		if all := finds(t, func(d *doctor) { d.named("bridge a", port, dir) }); len(all) > 0 {
			t.Errorf("%s: %+v", port, all)
		}
	}
}

func TestDoctorOfTheDataFolder(t *testing.T) {
	dir := t.TempDir()
	look := func(path string) []finding {
		return finds(t, func(d *doctor) {
			if d.folder(path) {
				d.speed(path)
				d.room(path)
			}
		})
	}
	reports(t, look(filepath.Join(dir, "absent")), "wrong", "it is not there")
	reports(t, look(write(t, "file", "")), "wrong", "it is a file")
	if err := os.Chmod(dir, 0o750); err != nil {
		t.Fatal(err)
	}
	reports(t, look(dir), "wrong", "others may use it (mode 0750); the record is of patients: chmod 0700")
	if err := os.Chmod(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	all := look(dir)
	reports(t, all, "ok", "closed to others")
	reports(t, finds(t, func(d *doctor) { d.pace("data", time.Millisecond) }), "ok", "1ms")
	reports(t, finds(t, func(d *doctor) { d.pace("data", time.Second) }), "look", "alerts are told when they are on it")
	if left, err := os.ReadDir(dir); err != nil || len(left) > 0 {
		t.Errorf("it leaves %v, %v", left, err)
	}

	// The present day, and what is older than a week, say nothing of how fast it fills.
	for day, gigabytes := range map[string]int64{"2026-11-27": 1 << 20, "2026-11-26": 2, "2026-11-25": 3, "2026-01-01": 1 << 20} {
		name := filepath.Join(dir, "readings-"+day+".db")
		if err := os.WriteFile(name, nil, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Truncate(name, gigabytes<<20); err != nil {
			t.Fatal(err)
		}
	}
	for i := range 6 {
		if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("readings-2026-11-1%d.db", i)), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if got, want := daily(dir, time.Date(2026, 11, 27, 12, 0, 0, 0, time.UTC)), float64(3<<20)/1e9; got != want {
		t.Errorf("%v GB a day, want %v", got, want)
	}
	reports(t, look(dir), "ok", "GB are left, enough for")
	if err := os.Truncate(filepath.Join(dir, "readings-2026-11-26.db"), 1<<42); err == nil { // a file of holes
		reports(t, look(dir), "wrong", "days of readings of 4398.0 GB; then readings are not kept: make room")
	}
}

func TestDoctorOfTheClock(t *testing.T) {
	clock := func(bound float64) []finding { return finds(t, func(d *doctor) { d.clockError(bound) }) }
	reports(t, clock(0.02), "ok", "a time server sets it; it is right to 0.02 s")
	reports(t, clock(16), "look", "no time server has set it for long")
	reports(t, clock(math.NaN()), "look", "does not say")
	facts := func(f recordFacts) []finding { return finds(t, func(d *doctor) { d.facts(&f) }) }
	now := sample.At(time.Date(2026, 11, 27, 12, 0, 0, 0, time.UTC))
	reports(t, facts(recordFacts{Last: now.Add(-time.Hour)}), "ok", "it goes on where the record ends, at 2026-11-27T11:00:00Z")
	reports(t, facts(recordFacts{Last: now.Add(time.Hour)}), "wrong", "a time 1h0m0s before the record's last")
}

func TestDoctorOfCalibrations(t *testing.T) {
	f := recordFacts{InForce: 4, First: "trolley/leg/2", Until: time.Date(2026, 12, 5, 0, 0, 0, 0, time.UTC), OldestAt: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)}
	facts := func() []finding { return finds(t, func(d *doctor) { d.facts(&f) }) }
	reports(t, facts(), "ok", "of 4 channels, none past its date; the oldest is of 2026-03-01, first trolley/leg/2, on 2026-12-05")
	f.Due = 2
	reports(t, facts(), "look", "2 soon past their date")
	f.Expired = 1
	reports(t, facts(), "wrong", "1 past their date")
	c := parsed(t, "bridges:\n  - {id: trolley, link: {file: {path: x}}, format: line, sources: [{number: 0, id: leg, channels: 1, rate: 1}, {number: 1, id: arm, channels: 1, rate: 1, unit: mmHg}]}\n")
	all := finds(t, func(d *doctor) { d.uncalibrated(c, &recordFacts{}) })
	if reports(t, all, "look", "source trolley/leg: it is not calibrated"); len(all) != 1 {
		t.Errorf("%+v", all)
	}
}

func TestDoctorOfSenders(t *testing.T) {
	l := wiretest.Listen(t)
	secret := write(t, "a.secret", "p1anted\n")
	text := func(address, secret string) string {
		return fmt.Sprintf(`data: record
bridges: []
notify:
  - {id: desk, webhook: {url: "http://%[1]s/x", secret_file: %[2]q}}
  - {id: night, mail: {server: %[1]q, security: starttls, from: weald@larch.example, to: [round@larch.example]}}
  - {id: lamp, topic: {broker: %[1]q, user: weald, password_file: %[2]q}}
heartbeat: {webhook: {url: "http://%[1]s/x", secret_file: %[2]q}}
`, address, secret)
	}
	senders := func(c *config.Config) []finding {
		return finds(t, func(d *doctor) { d.running = true; d.senders(t.Context(), c) })
	}
	all := senders(parsed(t, text(l.Addr().String(), secret)))
	for _, who := range []string{"sender desk: webhook at", "sender night: mail to round@larch.example", "sender lamp: topic", "heartbeat: webhook"} {
		reports(t, all, "ok", who)
	}
	all = senders(parsed(t, text(wiretest.Vacant(t), secret)))
	for _, who := range []string{"desk", "night", "lamp"} {
		reports(t, all, "wrong", "; nobody is called this way: see whether the way there is open, and then: weald notify test "+who)
	}
	reports(t, all, "wrong", "whoever waits for beats takes it for dead")
	reports(t, senders(parsed(t, text(l.Addr().String(), secret+".absent"))), "wrong", "a.secret.absent: no such file")
	reports(t, senders(parsed(t, "bridges: []\n")), "look", "the configuration has none; nobody outside would notice")
	for _, f := range all {
		if strings.Contains(f.String(), "p1anted") {
			t.Errorf("a secret is said: %+v", f)
		}
	}
}

func TestDoctorOfTheDaemon(t *testing.T) {
	l := wiretest.Listen(t)
	ask := func(address string) []finding {
		c := parsed(t, fmt.Sprintf("data: record\nweb: {listen: %q}\nbridges: []\n", address))
		return finds(t, func(d *doctor) { d.daemon(t.Context(), c) })
	}
	reports(t, ask(l.Addr().String()), "wrong", "the pages cannot listen on")
	reports(t, ask("127.0.0.1:0"), "look", "none uses this record; nothing is watched")
	all := finds(t, func(d *doctor) {
		d.running, d.complaints = true, []string{"bridge hub: there is no port /dev/ttyACM1"}
		d.daemon(t.Context(), nil)
	})
	reports(t, all, "ok", "one is running")
	reports(t, all, "look", "it says: bridge hub: there is no port /dev/ttyACM1: see Setup")
}

// The command as people have it: a line for each thing, 1 where something is wrong, the
// same as JSON; and what is wrong with the configuration is a finding too.
func TestDoctorAsACommand(t *testing.T) {
	ask := func(text string, args ...string) (string, int) {
		var stdout, stderr bytes.Buffer
		code := run(t.Context(), append([]string{"doctor", "-c", write(t, "weald.yaml", text)}, args...), &stdout, &stderr)
		return stdout.String() + stderr.String(), code
	}
	const none = "web: {listen: \"127.0.0.1:0\"}\nbridges: []\n"
	if said, code := ask(none); code != 0 || !strings.HasPrefix(said, "ok     configuration: ") || !strings.Contains(said, "\nlook   record: none is kept; nothing is known of") {
		t.Errorf("%d: %s", code, said)
	}
	if said, code := ask("bridges: []\nbridge: []\n"); code != 1 || !strings.Contains(said, "wrong  configuration: ") || !strings.Contains(said, ":2:1: ") {
		t.Errorf("%d: %s", code, said)
	}
	said, code := ask("web: {listen: \"127.0.0.1:0\"}\nbridges: [{id: a, link: {serial: {port: /dev/ttyACM77}}, format: line, sources: [{number: 0, id: s, channels: 1, rate: 1}]}]\n", "--json")
	var states []string
	for line := range strings.Lines(said) {
		var f finding
		if err := json.Unmarshal([]byte(line), &f); err != nil || f.About == "" || f.Found == "" || f.State != "ok" && f.Do == "" {
			t.Errorf("%q: %v", line, err)
		}
		states = append(states, f.State+" "+f.About)
	}
	if all := strings.Join(states, ", "); code != 1 || !strings.Contains(all, "wrong bridge a") || !strings.Contains(all, "ok configuration") {
		t.Errorf("%d: %s", code, all)
	}
}
