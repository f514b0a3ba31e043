package main

import (
	"bytes"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/pflag"
)

// An option that would do nothing is refused by its name, and nothing is played or
// written; every option is one that something takes.
func TestEmulateRefusesWhatItWouldNotUse(t *testing.T) {
	dir := t.TempDir()
	rows, config := write(t, "rows.txt", "1\t2\t3\t4\n"), filepath.Join(dir, "ward.yaml")
	for what, base := range map[string][]string{
		playsScenario:  {"emulate", "wrap", "--out", "-", "--lasting", "100ms", "--speed", "0"},
		playsRecording: {"emulate", "--recording", rows, "--mat", "4", "--out", "-", "--speed", "0"},
		playsPlaces:    {"emulate", "wrap", "--places", "1", "--tcp", "127.0.0.1:0", "--write-config", config},
	} {
		refused := 0
		newEmulate().Flags().VisitAll(func(one *pflag.Flag) {
			if slices.Contains(emulateTakes[what], one.Name) {
				return
			}
			refused++
			value := one.DefValue // given, though it says what is so anyway
			switch one.Name {
			case "places":
				return // makes it another thing, as --recording does
			case "recording":
				value = rows
			}
			args := append(slices.Clone(base), "--"+one.Name+"="+value)
			var stdout, stderr bytes.Buffer
			if code := run(t.Context(), args, &stdout, &stderr); code != exitUsage || stdout.Len() > 0 {
				t.Errorf("%v ended with %d and wrote %d bytes", args, code, stdout.Len())
			}
			if one.Name != "recording" && !strings.Contains(stderr.String(), "--"+one.Name+" would do nothing with "+what) {
				t.Errorf("%v: %s", args, stderr.String())
			}
		})
		if refused < 5 {
			t.Errorf("%s takes nearly everything: %d options are refused", what, refused)
		}
	}
	if matches, _ := filepath.Glob(filepath.Join(dir, "*")); len(matches) > 0 {
		t.Errorf("something was written: %v", matches)
	}
	newEmulate().Flags().VisitAll(func(one *pflag.Flag) {
		for _, takes := range emulateTakes {
			if slices.Contains(takes, one.Name) {
				return
			}
		}
		t.Errorf("nothing takes --%s", one.Name)
	})
	// Two at once are named together.
	var stderr bytes.Buffer
	run(t.Context(), []string{"emulate", "wrap", "--places", "1", "--tcp", "127.0.0.1:0", "--write-config", config, "--out", "leg.txt", "--drop", "0.1"}, &stderr, &stderr)
	if !strings.Contains(stderr.String(), "--drop, --out would do nothing with --places") {
		t.Error(stderr.String())
	}
	// And no number of places is no reason to play one.
	stderr.Reset()
	if code := run(t.Context(), []string{"emulate", "wrap", "--places", "0", "--tcp", "127.0.0.1:0", "--write-config", config}, &stderr, &stderr); code != exitUsage || !strings.Contains(stderr.String(), "0 places are none") {
		t.Errorf("%d: %s", code, stderr.String())
	}
}
