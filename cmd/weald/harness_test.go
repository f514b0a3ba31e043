package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"weald/config"
)

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// parsedAs is the configuration of a text, as if it were the file of that name.
func parsedAs(t testing.TB, name, text string) *config.Config {
	t.Helper()
	c, problems := config.Parse(name, []byte(text))
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	return c
}

// configOf is the configuration in a file.
func configOf(t testing.TB, file string) *config.Config {
	t.Helper()
	c, problems := config.Load(file)
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	return c
}

// A log is what a running daemon writes; tests read it while it does.
type log struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *log) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *log) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// start runs a command of the program until the test ends, and returns the
// address of its pages.
func start(t *testing.T, args ...string) string {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	var stderr log
	done := make(chan int)
	go func() { done <- run(ctx, args, io.Discard, &stderr) }()
	t.Cleanup(func() {
		cancel()
		select {
		case code := <-done:
			if code != 0 {
				t.Errorf("weald %v ended with %d: %s", args, code, stderr.String())
			}
		case <-time.After(20 * time.Second):
			t.Errorf("weald %v does not end", args)
		}
	})
	var address string
	eventually(t, longEnough, func() error {
		_, after, found := strings.Cut(stderr.String(), "listening on ")
		if !found {
			return fmt.Errorf("not listening: %s", stderr.String())
		}
		address = strings.Trim(strings.SplitN(after, "\n", 2)[0], `" `)
		return nil
	})
	return address
}

// longEnough is how long a test waits for what comes sooner or later, on a machine that may
// have much else to do. What is promised within a time is measured, and not waited for.
const longEnough = 3 * time.Minute

// eventually tries f until it returns nil.
func eventually(t *testing.T, within time.Duration, f func() error) {
	t.Helper()
	deadline := time.Now().Add(within)
	for {
		err := f()
		if err == nil {
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("after %v still: %v", within, err)
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// actionable checks that every warning in a log says what a person can do: as do=, as
// why= of a bridge or a source, whose words say it, or behind a colon.
func actionable(t *testing.T, log string) {
	t.Helper()
	for line := range strings.Lines(log) {
		if (strings.HasPrefix(line, "level=WARN") || strings.HasPrefix(line, "level=ERROR")) &&
			!strings.Contains(line, " do=") && !strings.Contains(line, " why=") && !strings.Contains(line, ": ") {
			t.Errorf("what is to be done about this? %s", line)
		}
	}
}

// get reads JSON from the daemon.
func get[T any](address, path string) (T, error) {
	return getJSON[T](context.Background(), address+path)
}

// text reads what is not JSON.
func text(t *testing.T, address, path string) string {
	t.Helper()
	said, err := answered(address, path)
	if err != nil {
		t.Fatal(err)
	}
	return said
}

// answered is what a daemon answers.
func answered(address, path string) (string, error) {
	r, err := http.Get(address + path)
	if err != nil {
		return "", err
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	return string(b), err
}

// write makes a file in a folder of the test.
func write(t testing.TB, name, content string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// rehearsed runs `weald rehearse --json` and returns its events and summary.
func rehearsed(t testing.TB, args ...string) (events []eventLine, s summary) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	if code := run(t.Context(), append([]string{"rehearse", "--json"}, args...), &stdout, &stderr); code != 0 {
		t.Fatalf("rehearse ended with %d: %s%s", code, stdout.String(), stderr.String())
	}
	lines := strings.Split(strings.TrimSpace(stdout.String()), "\n")
	for _, line := range lines[:len(lines)-1] {
		var e eventLine
		if err := json.Unmarshal([]byte(line), &e); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		events = append(events, e)
	}
	var last summaryLine
	if err := json.Unmarshal([]byte(lines[len(lines)-1]), &last); err != nil {
		t.Fatal(err)
	}
	return events, last.Summary
}

// everythingIn returns what is in all files of a folder, one after the other.
func everythingIn(t *testing.T, dir string) (all []byte) {
	t.Helper()
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		all = append(all, b...)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}
