package sqlite

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// The power goes: what the disk held at that instant is all there is, and what
// was only in the memory of the system is gone. A file system lies in a file; a
// process writes to a record on it; it is stopped, and the file is copied, which
// is the disk as the power would have left it. On the copy is everything that
// was acknowledged before.
func TestPowerCut(t *testing.T) {
	if testing.Short() || os.Getuid() != 0 {
		t.Skip("not allowed to mount a disk of its own: run as root to test a power cut")
	}
	const each = 4 // what a victim writes until then has room on its disk
	for left := max(2, *faults/3); left > 0; left -= each {
		t.Run("", func(t *testing.T) { cutPower(t, min(left, each)) })
	}
}

// cutPower cuts the power of one process some times.
func cutPower(t *testing.T, rounds int) {
	image := filepath.Join(t.TempDir(), "disk")
	if err := os.WriteFile(image, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(image, 192<<20); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("mkfs.ext4", "-q", "-F", image).CombinedOutput(); err != nil {
		t.Skipf("no file system can be made here: %v, %s", err, out)
	}
	disk := mountImage(t, image)
	v := startVictim(t, filepath.Join(disk, "record"))
	acked := 0
	for round := range rounds {
		time.Sleep(time.Duration(200+77*round%300) * time.Millisecond)
		if err := v.Process.Signal(syscall.SIGSTOP); err != nil {
			t.Fatal(err)
		}
		said := v.said()
		left := filepath.Join(t.TempDir(), "left")
		copyTest(t, left, image)
		if err := v.Process.Signal(syscall.SIGCONT); err != nil {
			t.Fatal(err)
		}
		s := mustOpen(t, filepath.Join(mountImage(t, left), "record"))
		acked += holdsAll(t, s, said)
		s.Close()
		if t.Failed() {
			t.Fatalf("power cut %d", round)
		}
	}
	t.Logf("%d acknowledged before power cuts, none lost", acked)
}

// A prey is a process that writes to a record and says what was acknowledged.
type prey struct {
	*exec.Cmd
	mu    sync.Mutex
	lines []string // guarded by mu
}

// startVictim starts one, which is killed when the test ends.
func startVictim(t *testing.T, dir string) *prey {
	t.Helper()
	v := &prey{Cmd: exec.Command(os.Args[0])}
	v.Env = append(os.Environ(), victimDir+"="+dir)
	v.Stderr = os.Stderr
	out, err := v.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := v.Start(); err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		for in := bufio.NewScanner(out); in.Scan(); {
			v.mu.Lock()
			v.lines = append(v.lines, in.Text())
			v.mu.Unlock()
		}
	}()
	t.Cleanup(func() {
		_ = v.Process.Kill()
		<-done
		_ = v.Wait() // it was killed
	})
	return v
}

// said returns what it has said so far.
func (v *prey) said() []string {
	v.mu.Lock()
	defer v.mu.Unlock()
	return append([]string(nil), v.lines...)
}

// mountImage mounts a file as a disk until the test ends.
func mountImage(t *testing.T, image string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "disk")
	if err := os.Mkdir(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("mount", "-o", "loop", image, dir).CombinedOutput(); err != nil {
		t.Skipf("no disk can be mounted here: %v, %s", err, out)
	}
	t.Cleanup(func() {
		if err := unix.Unmount(dir, 0); err != nil {
			t.Errorf("%s stays mounted: %v", dir, err)
		}
	})
	return dir
}

// holdsAll fails the test if something that a victim said to be acknowledged is
// not in a record, and returns how much it said.
func holdsAll(t *testing.T, s *Store, said []string) int {
	t.Helper()
	positions := map[record.Position]string{}
	var version uint64
	n := 0
	for _, line := range said {
		var a, b, c uint64
		kind, rest, _ := strings.Cut(line, " ")
		switch kind {
		case "entry":
			var text string
			fmt.Sscanf(rest, "%d %s", &a, &text)
			positions[record.Position(a)] = text
		case "readings":
			fmt.Sscanf(rest, "%d %d %d", &a, &b, &c)
			checkReadings(t, s, a, b, c)
		case "document":
			fmt.Sscanf(rest, "%d", &a)
			version = max(version, a)
		case "open", "snapshot":
			continue
		default:
			t.Fatalf("the process said %q", line)
		}
		n++
	}
	checkEntries(t, s, positions)
	if d, err := s.Document(t.Context(), "counter", 0); version > 0 && (err != nil || d.Version < version) {
		t.Errorf("version %d was acknowledged; the newest is %d, %v", version, d.Version, err)
	}
	journaltest.Sound(t, s)
	return n
}
