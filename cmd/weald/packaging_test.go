package main

import (
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"go.yaml.in/yaml/v4"

	"weald/config"
)

// packaging is where what packages are made of is; paths in it are from the project's
// root.
const packaging = "../../.packaging"

func packagingFile(t *testing.T, name string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(packaging, name))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// A package has the files that it names, and what they name is where it puts them: the
// program, its configuration, the account, the folder of the record.
func TestPackagesHoldTogether(t *testing.T) {
	var nfpm struct {
		Contents []struct{ Src, Dst, Type string }
		Scripts  map[string]string
	}
	if err := yaml.Unmarshal([]byte(packagingFile(t, "nfpm.yaml")), &nfpm); err != nil {
		t.Fatal(err)
	}
	kinds := map[string]string{}
	for _, c := range nfpm.Contents {
		kinds[c.Dst] = c.Type
		if found, err := filepath.Glob(filepath.Join("../..", c.Src)); (err != nil || len(found) == 0) && !strings.HasPrefix(c.Src, "bin/") {
			t.Errorf("there is no %s: %v", c.Src, err)
		}
	}
	for _, path := range nfpm.Scripts {
		if said, err := exec.Command("sh", "-n", filepath.Join("../..", path)).CombinedOutput(); err != nil {
			t.Errorf("%s: %v: %s", path, err, said)
		}
	}
	unit := packagingFile(t, "weald.service")
	settings := map[string]string{}
	for line := range strings.Lines(unit) {
		if key, value, ok := strings.Cut(strings.TrimSpace(line), "="); ok && !strings.HasPrefix(key, "#") {
			settings[key] = value
		}
	}
	words := strings.Fields(settings["ExecStart"])
	if len(words) != 4 || words[1] != "run" || words[2] != "-c" {
		t.Fatalf("ExecStart is %q", words)
	}
	if _, there := kinds[words[0]]; !there || kinds[words[3]] != "config|noreplace" {
		t.Errorf("the unit runs %s with %s; the packages put %v", words[0], words[3], kinds)
	}
	c := configOf(t, filepath.Join(packaging, "weald.yaml"))
	if want := "/var/lib/" + settings["StateDirectory"]; c.Data != want || settings["WorkingDirectory"] != want {
		t.Errorf("the record is in %s, and the unit has %s", c.Data, want)
	}
	install := packagingFile(t, "postinstall.sh")
	for _, needs := range []string{"useradd", " " + settings["User"] + "\n", "chown root:" + settings["Group"] + " /etc/weald"} {
		if !strings.Contains(install, needs) {
			t.Errorf("the installation has no %q", needs)
		}
	}
	if groups := strings.Fields(settings["SupplementaryGroups"]); !slices.Equal(groups, []string{"dialout"}) || !strings.Contains(packagingFile(t, "70-weald.rules"), `GROUP="dialout"`) {
		t.Errorf("the unit is of the groups %v", groups)
	}
	if settings["Type"] != "notify" || settings["WatchdogSec"] == "" || settings["Restart"] != "always" {
		t.Errorf("the unit has %v", settings)
	}
}

// The example in the configuration that is installed is one: without the signs that make
// it a comment nothing is wrong with it.
func TestTheInstalledExample(t *testing.T) {
	var text strings.Builder
	example := false
	for line := range strings.Lines(packagingFile(t, "weald.yaml")) {
		switch bare := strings.TrimPrefix(line, "# "); {
		case strings.HasPrefix(bare, "bridges:"), strings.HasPrefix(bare, "notify:"):
			example = true
			text.WriteString(bare)
		case line == "\n":
			example = false
		case example:
			text.WriteString(bare)
		case !strings.HasPrefix(line, "#"):
			text.WriteString(line)
		}
	}
	c, problems := config.Parse("weald.yaml", []byte(text.String()))
	if len(problems) > 0 {
		t.Fatalf("%v\n%s", problems, text.String())
	}
	if len(c.Bridges) == 0 || len(c.Notify) == 0 || c.Heartbeat == nil {
		t.Errorf("the example has not all of what it speaks of:\n%s", text.String())
	}
}

var built = flag.String("deb", "", "a package that make deb has built, for TestABuiltPackage to unpack")

// A package that was built has a program that runs, takes the configuration beside it and
// knows what it is called; a configuration that others may not read; and a unit of which
// systemd says nothing but that what else a system has is not in the package.
func TestABuiltPackage(t *testing.T) {
	if *built == "" {
		t.Skip("by hand, after make deb: -deb bin/weald_*.deb")
	}
	root := t.TempDir()
	if said, err := exec.Command("dpkg", "-x", *built, root).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, said)
	}
	at := func(path string) string { return filepath.Join(root, path) }
	for path, mode := range map[string]os.FileMode{"/usr/bin/weald": 0o755, "/etc/weald/weald.yaml": 0o640, "/usr/lib/systemd/system/weald.service": 0o644, "/usr/lib/udev/rules.d/70-weald.rules": 0o644} {
		if info, err := os.Stat(at(path)); err != nil || info.Mode().Perm() != mode {
			t.Errorf("%s: %v %v, want mode %o", path, info, err, mode)
		}
	}
	for _, args := range [][]string{{"version"}, {"check", at("/etc/weald/weald.yaml")}} {
		if said, err := exec.Command(at("/usr/bin/weald"), args...).CombinedOutput(); err != nil {
			t.Errorf("weald %v: %v: %s", args, err, said)
		}
	}
	if said, err := exec.Command("systemd-analyze", "verify", "--man=no", "--root="+root, "weald.service").CombinedOutput(); err != nil {
		for line := range strings.Lines(string(said)) {
			if strings.Contains(line, "weald.service:") && !strings.Contains(line, "sysinit.target not found") && !strings.Contains(line, "/bin/kill") {
				t.Error(line)
			}
		}
	}
	if udevadm, err := exec.LookPath("udevadm"); err == nil {
		if said, err := exec.Command(udevadm, "verify", "--no-style", at("/usr/lib/udev/rules.d/70-weald.rules")).CombinedOutput(); err != nil && !strings.Contains(string(said), "Unknown command") {
			t.Errorf("%v: %s", err, said)
		}
	}
}

// systemd reads the unit as it is meant. It looks for what the unit starts, which is
// not installed where tests run.
func TestTheUnitIsOne(t *testing.T) {
	analyze, err := exec.LookPath("systemd-analyze")
	if err != nil {
		t.Skip("systemd-analyze is not here: its reading of the unit is not tried")
	}
	text := packagingFile(t, "weald.service")
	start := strings.Index(text, "ExecStart=")
	end := start + strings.Index(text[start:], "\n")
	unit := filepath.Join(t.TempDir(), "weald.service")
	if err := os.WriteFile(unit, []byte(fmt.Sprintf("%sExecStart=/bin/true%s", text[:start], text[end:])), 0o600); err != nil {
		t.Fatal(err)
	}
	// It complains of units of the machine too; only what it says of ours counts.
	said, err := exec.CommandContext(t.Context(), analyze, "verify", "--man=no", unit).CombinedOutput()
	for line := range strings.Lines(string(said)) {
		if strings.Contains(line, "weald.service") {
			t.Errorf("%s (%v)", line, err)
		}
	}
}
