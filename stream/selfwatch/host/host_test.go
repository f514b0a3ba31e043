package host

import (
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"golang.org/x/sys/unix"
)

// This machine has a disk, memory and a clock, of which the kernel tells by other calls
// too.
func TestThisMachine(t *testing.T) {
	var info unix.Sysinfo_t
	if err := unix.Sysinfo(&info); err != nil {
		t.Fatal(err)
	}
	if v := FreeMemory(); !(v > 0 && v <= 100) {
		t.Errorf("%v %% of the memory is free; the kernel says that of %d bytes %d are unused", v, info.Totalram, info.Freeram)
	}
	if v := FreeGB(t.TempDir()); !(v > 0) {
		t.Errorf("%v GB are free", v)
	}
	if v := FreeGB(filepath.Join(t.TempDir(), "absent")); !math.IsNaN(v) {
		t.Errorf("a folder that is not there has %v GB", v)
	}
	if v := ClockError(); !(v >= 0) && !math.IsNaN(v) {
		t.Errorf("the clock may be wrong by %v s", v)
	}
}

// Of the groups that a process is in, the one with the least left counts, without what
// is cached. The files are as cgroups(7) has them.
func TestGroupOfProcesses(t *testing.T) {
	root := t.TempDir()
	put := func(path, name, text string) {
		dir := filepath.Join(root, path)
		if err := os.MkdirAll(dir, 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	own := []byte("1:name=systemd:/\n0::/system.slice/weald.service\n")
	if v := group(root, own); !math.IsNaN(v) {
		t.Errorf("without limits %v %% are left", v)
	}
	put("system.slice/weald.service", "memory.max", "max\n")
	put("system.slice/weald.service", "memory.current", "400\n")
	put("system.slice", "memory.max", "1000\n")
	put("system.slice", "memory.current", "900\n")
	put("system.slice", "memory.stat", "anon 500\ninactive_file 150\n")
	if v := group(root, own); math.Abs(v-25) > 1e-9 {
		t.Errorf("%v %% are left of 1000 with 900 used, 150 of them cached", v)
	}
	put("system.slice/weald.service", "memory.max", strconv.Itoa(500))
	if v := group(root, own); math.Abs(v-20) > 1e-9 {
		t.Errorf("%v %% are left of 500 with 400 used", v)
	}
}
