package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/spf13/cobra"

	"weald/ingest/raced"
)

// words splits a line of an example as a shell would: blanks, 'quotes', and a comment.
func words(line string) (all []string) {
	var word strings.Builder
	open, quoted := false, false
	end := func() {
		if open {
			all = append(all, word.String())
		}
		word.Reset()
		open = false
	}
	for _, r := range line {
		switch {
		case r == '\'':
			quoted, open = !quoted, true
		case !quoted && r == ' ':
			end()
		case !quoted && !open && r == '#':
			return all
		default:
			word.WriteRune(r)
			open = true
		}
	}
	end()
	return all
}

// examples calls each with every line of every command's example, in words without
// "weald" and without what the shell does with the output.
func examples(t *testing.T, each func(of *cobra.Command, args []string)) {
	t.Helper()
	var walk func(*cobra.Command)
	walk = func(c *cobra.Command) {
		if c.Example == "" {
			t.Errorf("%s has no example", c.CommandPath())
		}
		for line := range strings.Lines(c.Example) {
			all := words(strings.TrimSpace(line))
			if to := slices.Index(all, ">"); to >= 0 {
				all = all[:to]
			}
			if len(all) == 0 || all[0] != "weald" {
				t.Errorf("%s: an example is a line that begins with weald: %q", c.CommandPath(), line)
				continue
			}
			each(c, all[1:])
		}
		for _, sub := range c.Commands() {
			walk(sub)
		}
	}
	walk(newRoot())
}

// Every command shows an example, which is about that command and which it takes: its
// flags are there, their values are of the right kind, and so many arguments are meant.
func TestEveryCommandHasAnExample(t *testing.T) {
	commands := map[string]bool{}
	examples(t, func(of *cobra.Command, args []string) {
		commands[of.CommandPath()] = true
		cmd, rest, err := newRoot().Find(args)
		switch {
		case err != nil:
			t.Errorf("%s: %v: %v", of.CommandPath(), args, err)
			return
		case cmd.CommandPath() != of.CommandPath() && !strings.HasPrefix(cmd.CommandPath(), of.CommandPath()+" "):
			t.Errorf("%s: its example is one of %s", of.CommandPath(), cmd.CommandPath())
		case !cmd.Runnable():
			t.Errorf("%s: %v does nothing by itself", of.CommandPath(), args)
		}
		if err := cmd.ParseFlags(rest); err != nil {
			t.Errorf("%s: %v: %v", of.CommandPath(), args, err)
		} else if err := cmd.ValidateArgs(cmd.Flags().Args()); err != nil {
			t.Errorf("%s: %v: %v", of.CommandPath(), args, err)
		}
	})
	if len(commands) < 35 {
		t.Errorf("looked at %d commands only", len(commands))
	}
	for path := range commands {
		var out bytes.Buffer
		if code := run(t.Context(), append(strings.Fields(path)[1:], "--help"), &out, &out); code != 0 || !strings.Contains(out.String(), "\nExamples:\n  weald ") {
			t.Errorf("%s --help ended with %d and shows no example: %s", path, code, out.String())
		}
	}
}

// exampleYAML is what examples find: a configuration with all that they name.
const exampleYAML = `
data: record
web: {listen: "127.0.0.1:0"}
bridges:
  - id: trolley
    link: {tcp: {listen: ":4000"}}
    format: line
    sources: [{number: 0, id: leg, channels: 4, rate: 10}]
  - id: logger
    link: {file: {path: k07.csv}}
    format: delimited
    delimited: {separator: ",", header_lines: 1, time: {column: 0, as: rfc3339}, channels: [1, 2]}
    sources: [{number: 0, id: leg, channels: 2, rate: 5, unit: mmHg}]
  - id: hub
    link: {tcp: {listen: ":4001"}}
    format: packed
    sources: [{number: 0, id: mat4, channels: 2048, rate: 2, calibration: {slope: 0.05, offset: 0, u: 2}}]
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [logger/leg/0]}, {id: calf, channels: [logger/leg/1]}]}
  - {id: bed-4, kind: bed, mat: {source: hub/mat4, rows: 64, columns: 32, pitch_mm: [30, 25], head: first_row}}
rules:
  - {id: tight, at: {place: bench-1}, limit: {watch: ankle.pressure, above: 60}, on_delay: 30s}
`

// trialInAFolder goes to a folder with nothing in it, and is the configuration of the README's
// trial.
func trialInAFolder(t *testing.T) (yaml string) {
	t.Helper()
	yaml = readmeYAML(t, readmeSection(t, "Ten minutes: from a folder of recordings to a report"))
	t.Chdir(t.TempDir())
	return yaml
}

// layOut lays out what the examples are about in the folder that one is in, under the
// names that they use.
func layOut(t *testing.T) {
	t.Helper()
	trial := trialInAFolder(t)
	said := func(args ...string) {
		t.Helper()
		var out bytes.Buffer
		if code := run(t.Context(), args, &out, &out); code != 0 {
			t.Fatalf("%v ended with %d: %s", args, code, out.String())
		}
	}
	must(t, os.WriteFile("weald.yaml", []byte(exampleYAML), 0o600))
	must(t, os.WriteFile("milder.yaml", []byte("rules:\n  - {id: tight, at: {place: bench-1}, limit: {watch: ankle.pressure, above: 80}, on_delay: 1m}\n"), 0o600))
	must(t, os.WriteFile("trial.yaml", []byte(trial), 0o600))
	must(t, os.Mkdir("recordings", 0o700))
	sit(t, "k07.csv", "2026-03-01T22:00:00Z", 2*time.Second, time.Minute) // one example plays it as it was
	sit(t, "recordings/K-12_monday.csv", "2026-03-02T09:00:00Z", 2*time.Minute, time.Minute)
	said("emulate", "bed", "--out", "card.bin", "--speed", "0", "--lasting", "20s")
	var table, held strings.Builder
	table.WriteString("reference_mmhg,raw,cycle,direction\n")
	for cycle := 1; cycle <= 3; cycle++ {
		for i := range 13 {
			at, way := float64(i*10), "up"
			if i > 6 {
				at, way = float64((12-i)*10), "down"
			}
			fmt.Fprintf(&table, "%v,%v,%d,%s\n", at, 200+25*at+float64(cycle*(i%3)), cycle, way)
		}
	}
	held.WriteString("age_s,raw\n")
	for i := range 60 {
		fmt.Fprintf(&held, "%d,%v\n", 10+i*12, 1700+float64(i)/4)
	}
	must(t, os.WriteFile("leg-0.csv", []byte(table.String()), 0o600))
	must(t, os.WriteFile("cell.csv", []byte(table.String()), 0o600))
	must(t, os.WriteFile("leg-0-held.csv", []byte(held.String()), 0o600))
	must(t, os.WriteFile("password", []byte("vier blaue Heringe\n"), 0o600))
	said("account", "add", "eva", "--role", "admin", "-c", "weald.yaml", "--password-file", "password")
	said("tls", "make", "--dir", "larch-ca", "log-1.larch.example")
}

// Examples that need no daemon, no equipment and no record of somebody's work do what
// they say, in an order in which one finds what another has made.
func TestExamplesRun(t *testing.T) {
	raced.Skip(t, "one command after the other")
	layOut(t)
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]bool{}
	examples(t, func(_ *cobra.Command, args []string) { all[strings.Join(args, " ")] = true })
	ran := 0
	for _, line := range []string{
		"version",
		"check weald.yaml",
		"check --schema",
		"emulate wrap --out leg.txt --speed 0 --lasting 10m",
		"emulate --recording k07.csv -c weald.yaml --bridge logger --send line --out -",
		"import -c weald.yaml --input logger=k07.csv",
		"import -c weald.yaml --input hub=card.bin --out night.wcap --strict",
		"import -c trial.yaml --sessions recordings --by R-1",
		"rehearse -c weald.yaml --input logger=k07.csv --json",
		"rehearse -c weald.yaml --input hub=night.wcap --from 2026-03-01T22:00:00Z",
		"rehearse -c weald.yaml --against milder.yaml --input hub=night.wcap",
		"calibrate fit --table leg-0.csv",
		"calibrate fit --table leg-0.csv --model quadratic --json",
		"calibrate fit --table leg-0.csv --held leg-0-held.csv",
		"calibrate fit --table cell.csv --model quadratic --direction response",
		"account add anna --role admin -c weald.yaml",
		"account role anna --role carer -c weald.yaml",
		"account password anna -c weald.yaml",
		"account list -c weald.yaml",
		"account remove anna -c weald.yaml",
		"audit -c weald.yaml --from 2026-03-01T00:00:00Z --person K-07",
		"doctor -c weald.yaml --retention",
		"backup -c weald.yaml /mnt/stick/2026-03-01 --verify",
		"backup --verify /mnt/stick/2026-03-01",
		"restore /mnt/stick/2026-03-01 --data /var/lib/weald",
		"tls make --dir /etc/weald/tls weald.larch.example 10.0.0.5",
		"tls renew --dir /etc/weald/tls",
		"tls issue --dir larch-ca --out log-1 log-1.larch.example",
		"cluster key /etc/weald/cluster.key",
	} {
		if !all[line] {
			t.Errorf("no command has the example %q", line)
			continue
		}
		args := words(line)
		for i, a := range args {
			if filepath.IsAbs(a) { // of the machine, and here of the folder
				args[i] = filepath.Join(dir, a)
				if err := os.MkdirAll(filepath.Dir(args[i]), 0o700); err != nil {
					t.Fatal(err)
				}
			}
		}
		var out, trouble bytes.Buffer
		cmd := newRoot()
		cmd.SetArgs(args)
		cmd.SetOut(&out)
		cmd.SetErr(&trouble)
		cmd.SetIn(strings.NewReader("vier blaue Heringe\n"))
		if err := cmd.ExecuteContext(context.Background()); err != nil {
			t.Errorf("weald %s: %v: %s%s", line, err, out.String(), trouble.String())
		}
		ran++
	}
	t.Logf("%d of %d examples ran", ran, len(all))
}
