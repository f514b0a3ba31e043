package sqlite

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// victimDir, when it is set, makes the test binary a process that writes to a
// record until it is killed, and says on its output what was acknowledged.
const victimDir = "WEALD_TEST_VICTIM"

func TestMain(m *testing.M) {
	if dir := os.Getenv(victimDir); dir != "" {
		fmt.Println("failed", victim(dir))
		os.Exit(3)
	}
	os.Exit(m.Run())
}

// victim writes with several goroutines, as fast as it goes. A line is written
// only after what it is about was acknowledged.
func victim(dir string) error {
	ctx := context.Background()
	s, err := Open(ctx, dir, Options{Reserve: testReserve})
	if err != nil {
		return err
	}
	h, err := s.Head(ctx)
	if err != nil {
		return err
	}
	fmt.Println("open")
	failed := make(chan error)
	for w := range 3 {
		go func() {
			for i := 0; ; i++ {
				text := fmt.Sprintf("%d/%d/%d", os.Getpid(), w, i)
				p, err := s.Append(ctx, journaltest.Mark("with "+text), journaltest.Mark(text))
				if err != nil {
					failed <- err
					return
				}
				fmt.Printf("entry %d %s\n", p, text)
			}
		}()
	}
	go func() {
		for i := uint64(0); ; i++ {
			// Every forty calls the clock goes to another day, and back.
			at := journaltest.Noon.Add(time.Duration(i/40%3)*24*time.Hour) + sample.Instant(i)*1e9
			ord := h.Ord + 1 + 30*i
			blocks := []record.Block{matBlock("hub/mat", ord, 300, 10, at), journaltest.Block("trolley/leg", ord+10, 1, 10, at)}
			if err := s.AppendReadings(ctx, blocks, []record.Tick{{Ord: ord + 20, At: at}}); err != nil {
				failed <- err
				return
			}
			fmt.Printf("readings %d %d %d\n", ord, blocks[0].Number, blocks[1].Number)
			if i%16 == 0 {
				n := record.Snapshot{Ord: ord, Body: fmt.Append(nil, ord)}
				if err := s.PutSnapshot(ctx, n); err != nil {
					failed <- err
					return
				}
				fmt.Printf("snapshot %d\n", ord)
			}
		}
	}()
	go func() {
		for {
			d, err := s.Document(ctx, "counter", 0)
			if err == nil || errors.Is(err, journal.ErrNotFound) {
				d.Name, d.Body = "counter", fmt.Append(nil, d.Version+1)
				d.Version, err = s.PutDocument(ctx, d)
			}
			if err != nil {
				failed <- err
				return
			}
			fmt.Printf("document %d\n", d.Version)
		}
	}()
	return <-failed
}

// What was acknowledged before kill -9, at any instant under load, is there.
func TestKilled(t *testing.T) {
	if testing.Short() {
		t.Skip("starts processes and kills them")
	}
	dir := t.TempDir()
	rng := rand.New(rand.NewPCG(uint64(*faults), 3))
	acked := 0
	var maxOrd, version uint64
	positions := map[record.Position]string{}
	// On a disk that is so slow that nothing is acknowledged in these lives, there are others,
	// which last longer.
	enough := func() bool { return acked > 0 }
	for round := 0; round < *faults || !enough() && round < 10**faults; round++ {
		lines, err := killAfter(dir, time.Duration(rng.IntN(250)+1)*time.Duration(1 + round / *faults)*time.Millisecond)
		if err != nil {
			t.Fatalf("round %d: %v", round, err)
		}
		s := mustOpen(t, dir)
		for _, line := range lines {
			var a, b, c uint64
			var text string
			switch kind, rest, _ := strings.Cut(line, " "); kind {
			case "entry":
				fmt.Sscanf(rest, "%d %s", &a, &text)
				positions[record.Position(a)] = text
			case "readings":
				fmt.Sscanf(rest, "%d %d %d", &a, &b, &c)
				checkReadings(t, s, a, b, c)
				maxOrd = max(maxOrd, a+20)
			case "snapshot":
				fmt.Sscanf(rest, "%d", &a)
				if n, err := s.Snapshot(t.Context(), math.MaxUint64); err != nil || n.Ord < a || string(n.Body) != fmt.Sprint(n.Ord) {
					t.Errorf("snapshot %d was acknowledged; the newest is %d, %v", a, n.Ord, err)
				}
			case "document":
				fmt.Sscanf(rest, "%d", &a)
				version = max(version, a)
			default:
				t.Fatalf("round %d: the process said %q", round, line)
			}
			acked++
		}
		checkEntries(t, s, positions)
		if d, err := s.Document(t.Context(), "counter", 0); version > 0 && (err != nil || d.Version < version) {
			t.Errorf("version %d was acknowledged; the newest is %d, %v", version, d.Version, err)
		}
		if h, err := s.Head(t.Context()); err != nil || h.Ord < maxOrd {
			t.Errorf("ordinal %d was acknowledged; the head is %+v, %v", maxOrd, h, err)
		}
		journaltest.Sound(t, s)
		if m := s.mended(); len(m) > 0 {
			t.Logf("round %d: %v", round, m)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		if t.Failed() {
			t.Fatalf("round %d of %d", round, *faults)
		}
	}
	t.Logf("%d acknowledged in %d rounds, none lost", acked, *faults)
	if !enough() {
		t.Error("nothing was acknowledged in any round: this test says nothing")
	}
}

// killAfter starts a victim, kills it some time after it has the record open,
// and returns what it said to be acknowledged.
func killAfter(dir string, d time.Duration) ([]string, error) {
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), victimDir+"="+dir)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	in := bufio.NewReader(out)
	var lines []string
	for {
		line, err := in.ReadString('\n')
		if err != nil { // a last line without an end was not all said
			if err == io.EOF {
				err = nil
			}
			_ = cmd.Wait() // it was killed
			return lines, err
		}
		if line == "open\n" {
			time.AfterFunc(d, func() { _ = cmd.Process.Kill() })
			continue
		}
		lines = append(lines, strings.TrimSpace(line))
	}
}

func checkReadings(t *testing.T, s *Store, ord, mat, leg uint64) {
	t.Helper()
	n := uint64(0)
	for in, err := range s.Inputs(t.Context(), ord, ord+20) {
		if err != nil || in.Ord != ord+n {
			t.Fatalf("of acknowledged readings from %d on, input %d is %d, %v", ord, n, in.Ord, err)
		}
		n++
	}
	if n != 21 {
		t.Fatalf("of acknowledged readings from %d on, %d of 21 inputs are there", ord, n)
	}
	if mat == 0 || leg == 0 {
		t.Errorf("acknowledged blocks from %d on have the numbers %d and %d", ord, mat, leg)
	}
}

// checkEntries looks for all acknowledged entries, each with its companion: both
// or none.
func checkEntries(t *testing.T, s *Store, want map[record.Position]string) {
	t.Helper()
	there := map[record.Position]string{}
	var before string
	for _, e := range journaltest.Gather(t, s.Entries(t.Context(), journal.Query{})) {
		text := e.Body.(record.Mark).Text
		there[e.Position] = text
		if pair, ok := strings.CutPrefix(before, "with "); ok && pair != text {
			t.Errorf("entry %d says %q after %q: a call was kept in part", e.Position, text, before)
		}
		before = text
	}
	if strings.HasPrefix(before, "with ") {
		t.Errorf("the last entry says %q: a call was kept in part", before)
	}
	for p, text := range want {
		if there[p] != text {
			t.Errorf("entry %d was acknowledged with %q and says %q", p, text, there[p])
		}
	}
}
