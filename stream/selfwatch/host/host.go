package host

import (
	"bufio"
	"bytes"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// FreeGB returns how many GB (of 1e9 bytes) this account may still write where a
// folder is.
func FreeGB(dir string) float64 {
	var st unix.Statfs_t
	if unix.Statfs(dir, &st) != nil {
		return math.NaN()
	}
	return float64(st.Bavail) * float64(st.Bsize) / 1e9
}

// ClockError returns the kernel's bound of how wrong the host's clock may be, in s: it
// grows by 500 ppm from the last look at a time server to 16 s, beyond which the kernel
// calls the clock unsynchronised (adjtimex(2)).
func ClockError() float64 {
	var t unix.Timex
	state, err := unix.Adjtimex(&t) // no mode: it only reads
	if err != nil {
		return math.NaN()
	}
	bound := float64(t.Maxerror) / 1e6
	if state == unix.TIME_ERROR {
		bound = max(bound, 16)
	}
	return bound
}

// FreeMemory returns the share of memory in % that is there for the asking: of the
// machine, or of what this process may have, whichever is less.
func FreeMemory() float64 {
	b, err := os.ReadFile("/proc/meminfo")
	if err != nil {
		return math.NaN()
	}
	free := share(fields(b, ":"), "MemAvailable", "MemTotal")
	if own, err := os.ReadFile("/proc/self/cgroup"); err == nil {
		free = least(free, group("/sys/fs/cgroup", own))
	}
	return free
}

// group returns the share that a control group of version 2 has left, of whose path
// own speaks (cgroups(7)); NaN where it has no limit.
func group(root string, own []byte) float64 {
	free := math.NaN()
	_, path, found := strings.Cut(string(own), "0::")
	if !found {
		return free
	}
	path, _, _ = strings.Cut(path, "\n")
	for at := filepath.Clean("/" + path); ; at = filepath.Dir(at) { // what holds for a group holds for those in it
		most, used := number(filepath.Join(root, at, "memory.max")), number(filepath.Join(root, at, "memory.current"))
		if stat, err := os.ReadFile(filepath.Join(root, at, "memory.stat")); err == nil {
			if cached, ok := fields(stat, " ")["inactive_file"]; ok {
				used -= cached // which the kernel gives up first
			}
		}
		if most > 0 {
			free = least(free, 100*(1-used/most))
		}
		if at == "/" {
			return free
		}
	}
}

func least(a, b float64) float64 {
	switch {
	case a != a:
		return b
	case b != b:
		return a
	}
	return min(a, b)
}

// number reads a file with one number; NaN for "max" and where there is none.
func number(path string) float64 {
	b, err := os.ReadFile(path)
	if err != nil {
		return math.NaN()
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(string(b)), 64)
	if err != nil {
		return math.NaN()
	}
	return v
}

// fields reads lines of a name, a separator and a number.
func fields(b []byte, separator string) map[string]float64 {
	out := map[string]float64{}
	lines := bufio.NewScanner(bytes.NewReader(b))
	for lines.Scan() {
		name, rest, _ := strings.Cut(lines.Text(), separator)
		if words := strings.Fields(rest); len(words) > 0 {
			if v, err := strconv.ParseFloat(words[0], 64); err == nil {
				out[name] = v
			}
		}
	}
	return out
}

func share(of map[string]float64, part, whole string) float64 {
	p, ok := of[part]
	if !ok || of[whole] <= 0 {
		return math.NaN()
	}
	return 100 * p / of[whole]
}
