package main

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"weald/ingest/raced"
)

// readmeSection returns the part of the README below a heading.
func readmeSection(t *testing.T, heading string) string {
	t.Helper()
	b, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, section, found := strings.Cut(string(b), "\n## "+heading+"\n")
	if !found {
		t.Fatalf("the README has no part %q", heading)
	}
	section, _, _ = strings.Cut(section, "\n## ")
	return section
}

// readmeYAML returns the first YAML of a part, without what it stands in by.
func readmeYAML(t *testing.T, section string) string {
	t.Helper()
	_, block, found := strings.Cut(section, "```yaml\n")
	block, _, ended := strings.Cut(block, "```")
	if !found || !ended {
		t.Fatal("there is no YAML")
	}
	margin := len(block) - len(strings.TrimLeft(block, " "))
	return regexp.MustCompile(fmt.Sprintf(`(?m)^ {%d}`, margin)).ReplaceAllString(block, "")
}

// trialInAFolder goes to a folder with nothing in it, and is the configuration of the README's
// trial.
func trialInAFolder(t *testing.T) (yaml string) {
	t.Helper()
	yaml = readmeYAML(t, readmeSection(t, "Ten minutes: from a folder of recordings to a report"))
	t.Chdir(t.TempDir())
	return yaml
}

// readmeCommands runs the commands that a part shows as a block of their own, and returns
// what each said.
func readmeCommands(t *testing.T, section string) map[string]string {
	t.Helper()
	said := map[string]string{}
	for _, m := range regexp.MustCompile(`(?m)^ {4,}(weald [a-z].*)$`).FindAllStringSubmatch(section, -1) {
		line, _, _ := strings.Cut(m[1], "#")
		args := strings.Fields(line)[1:]
		var out bytes.Buffer
		if code := run(t.Context(), args, &out, &out); code != 0 {
			t.Fatalf("%s ended with %d: %s", line, code, out.String())
		}
		said[args[0]+" "+args[1]] = out.String()
	}
	return said
}

// sit writes what the README calls a recording of a trial: readings of two sensors, five
// a second, of somebody who lifts both sides for 20 s at the end of every so many minutes.
func sit(t *testing.T, path, began string, length, every time.Duration) {
	t.Helper()
	from, err := time.Parse(time.RFC3339, began)
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	b.WriteString("time,left,right\n")
	for at := time.Duration(0); at < length; at += 200 * time.Millisecond {
		load := 50 + math.Sin(at.Seconds())
		if every > 0 && at%every > every-20*time.Second {
			load = 1
		}
		fmt.Fprintf(&b, "%s,%.1f,%.1f\n", from.Add(at).Format("2006-01-02T15:04:05.000Z07:00"), load, load-3)
	}
	if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
}

// The README's way from a folder of recordings to a report, as it is written there: the
// file, the commands, and what comes of it, which is known of recordings that are made
// for it. A relief is 15 s and more off the whole seat (Sonenblum, Sprigle, Martin, J
// Rehabil Res Dev 2016;53(5):585-598).
func TestTheWayFromAFolderToAReport(t *testing.T) {
	raced.Skip(t, "one command after the other")
	section := readmeSection(t, "Ten minutes: from a folder of recordings to a report")
	yaml := readmeYAML(t, section)
	t.Chdir(t.TempDir())
	if err := os.Mkdir("recordings", 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile("trial.yaml", []byte(yaml), 0o600); err != nil {
		t.Fatal(err)
	}
	sit(t, "recordings/K-12_monday.csv", "2026-03-02T09:00:00Z", 50*time.Minute, 20*time.Minute)
	sit(t, "recordings/K-12_tuesday.csv", "2026-03-03T09:00:00Z", 32*time.Minute, 10*time.Minute)
	sit(t, "recordings/K-13_monday.csv", "2026-03-02T14:00:00Z", 45*time.Minute, 0)
	said := readmeCommands(t, section)
	for command, words := range map[string]string{
		"check trial.yaml": "",
		"import -c":        "3 sessions of 2 people are in the record in record; by its rules 1 alert was raised\n",
		"report trial":     "trial.html: ",
		"export -c":        "seat-1-20260302T0900Z-5-per-s.csv: 38100 rows",
	} {
		if text, ran := said[command]; !ran || !strings.Contains(text, words) {
			t.Errorf("%s: ran %v and said %q, want %q in it", command, ran, text, words)
		}
	}
	b, err := os.ReadFile("trial.html")
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Join(strings.Fields(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(strings.ReplaceAll(string(b), "\u00a0", " "), " ")), " ")
	for _, words := range []string{
		"K-12 2 100 %", "K-13 1 100 %",
		// Of each day: observed, seated, shifts, reliefs, transfers.
		"2 Mar 2026 100 % 50 min 0 2 0", "3 Mar 2026 100 % 32 min 0 3 0", "2 Mar 2026 100 % 45 min 0 0 0",
	} {
		if !strings.Contains(text, words) {
			t.Errorf("the report does not say %q: %s", words, text[strings.Index(text, "participants"):])
		}
	}
	// What is there stays as it is.
	var out bytes.Buffer
	if code := run(t.Context(), []string{"import", "-c", "trial.yaml", "--sessions", "recordings", "--by", "R-1"}, &out, &out); code == 0 || !strings.Contains(out.String(), "which the record has: nothing was written") {
		t.Errorf("a second import ended with %d: %s", code, out.String())
	}
	out.Reset()
	if code := run(t.Context(), []string{"rehearse", "-c", "trial.yaml"}, &out, &out); code != 0 || !strings.Contains(out.String(), "seat-1") {
		t.Errorf("a rehearsal of the record ended with %d: %s", code, out.String())
	}
}

// The README's way from a board to a first alert, with the board that it plays, ten times
// as fast: the file as it is written there, but for the port.
func TestTheWayFromABoardToAnAlert(t *testing.T) {
	raced.Skip(t, "a document that is followed step by step")
	t.Parallel()
	section := readmeSection(t, "Ten minutes: from a USB board to a first alert")
	yaml := readmeYAML(t, section)
	m := regexp.MustCompile("`weald (emulate [^`]*) --pty \\./board`").FindStringSubmatch(section)
	if m == nil || !strings.Contains(yaml, "/dev/ttyACM0") {
		t.Fatal("the README plays no board, or has another port")
	}
	dir := t.TempDir()
	board, file := filepath.Join(dir, "board"), filepath.Join(dir, "weald.yaml")
	if err := os.WriteFile(file, []byte(strings.Replace(yaml, "/dev/ttyACM0", board, 1)+"web: {listen: \"127.0.0.1:0\"}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if code := run(t.Context(), []string{"check", file}, &out, &out); code != 0 || out.Len() > 0 {
		t.Fatalf("check ended with %d: %s", code, out.String())
	}
	ctx, unplug := context.WithCancel(t.Context())
	var playing sync.WaitGroup
	playing.Go(func() {
		var said bytes.Buffer
		run(ctx, append(strings.Fields(m[1]), "--pty", board, "--speed", "10"), &said, &said)
	})
	t.Cleanup(func() { unplug(); playing.Wait() })
	address := start(t, "run", "-c", file, "--speed", "10")
	eventually(t, longEnough, func() error {
		if said := text(t, address, "/api/v1/alerts"); !regexp.MustCompile(`"rule":"ankle-too-tight".*ankle above 60 mmHg`).MatchString(said) {
			return fmt.Errorf("alerts: %s", said)
		}
		return nil
	})
}

// What cannot become sessions is refused before anything is written, with what to do.
func TestSessionsThatAreRefused(t *testing.T) {
	yaml := readmeYAML(t, readmeSection(t, "Ten minutes: from a folder of recordings to a report"))
	for _, c := range []struct {
		name  string
		lay   func()
		says  string
		yaml  string
		again bool
	}{
		{"a name", func() { sit(t, "recordings/Pat_monday.csv", "2026-03-02T09:00:00Z", time.Minute, 0) }, "this looks like a name", yaml, false},
		{"of one time", func() {
			sit(t, "recordings/K-12_a.csv", "2026-03-02T09:00:00Z", time.Minute, 0)
			sit(t, "recordings/K-13_a.csv", "2026-03-02T09:00:30Z", time.Minute, 0)
		}, "K-12_a.csv and K-13_a.csv are of the same time", yaml, false},
		{"another form", func() { os.WriteFile("recordings/K-12_a.csv", []byte("a;b\nc;d\n"), 0o600) }, "nothing in it can be read", yaml, false},
		{"no files", func() {}, "there is no file in recordings", yaml, false},
		{"no day", func() { os.WriteFile("recordings/K-12_a.csv", []byte("t,l,r\n0.0,40,40\n0.2,40,40\n"), 0o600) },
			"name it after when it began, such as K-12_2026-03-01T09-30.csv", strings.Replace(yaml, "rfc3339", "seconds", 1), false},
		{"a day in the name", func() {
			os.WriteFile("recordings/K-12_2026-03-01T09-30.csv", []byte("t,l,r\n0.0,40,40\n0.2,40,40\n"), 0o600)
		}, "K-12 at seat-1, 2026-03-01 09:30:00 to 09:30:00: 2 readings taken", strings.Replace(yaml, "rfc3339", "seconds", 1), true},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Chdir(t.TempDir())
			if err := os.Mkdir("recordings", 0o700); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile("trial.yaml", []byte(c.yaml), 0o600); err != nil {
				t.Fatal(err)
			}
			c.lay()
			var out bytes.Buffer
			code := run(t.Context(), []string{"import", "-c", "trial.yaml", "--sessions", "recordings", "--by", "R-1", "--zone", "UTC"}, &out, &out)
			if (code == 0) != c.again || !strings.Contains(out.String(), c.says) {
				t.Errorf("ended with %d and said %q, want %q in it", code, out.String(), c.says)
			}
			if _, err := os.Stat(filepath.Join("record", recordFile)); (err == nil) != c.again {
				t.Errorf("a record: %v", err)
			}
		})
	}
}
