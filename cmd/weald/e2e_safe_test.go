package main

import (
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"weald/ingest/frame"
	"weald/stream/journal/sqlite"
)

// A daemon that is killed the moment after it acknowledged a frame has the frame
// in its record: a gateway does not send again what was acknowledged.
func TestWhatWasAcknowledgedIsInTheRecord(t *testing.T) {
	t.Parallel()
	port := vacant(t)
	name := write(t, "ward.yaml", "data: record\n"+fmt.Sprintf(wardConfig, port))
	dir := filepath.Dir(name)
	for _, bridge := range []string{"hub-a", "hub-b"} {
		if err := os.WriteFile(filepath.Join(dir, bridge+".secret"), []byte(bridge+"-secret\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	var stderr log
	cmd := exec.Command(os.Args[0], "run", "-c", name)
	cmd.Env = append(os.Environ(), asProgram+"=1")
	cmd.Stderr = &stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	reachable(t, port)
	a := newPublisher(t, port, "hub-a", "hub-a", "hub-a-secret")
	const frames = 25
	for i := range uint32(frames) {
		a.send(&frame.Frame{Kind: frame.Readings, Source: 1, Seq: i, Millis: i * 20, Readings: []float64{40, 42}})
		time.Sleep(20 * time.Millisecond)
	}
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = cmd.Wait() // says that it was killed

	store, err := sqlite.Open(t.Context(), filepath.Join(dir, "record"), sqlite.Options{Reserve: -1})
	if err != nil {
		t.Fatalf("%v; it said %s", err, stderr.String())
	}
	defer store.Close()
	kept := map[uint32]int{}
	for in, err := range store.Inputs(t.Context(), 1, math.MaxUint64) {
		if err != nil {
			t.Fatal(err)
		}
		if in.Scan != nil {
			kept[in.Scan.Seq]++
		}
	}
	for i := range uint32(frames) {
		if kept[i] != 1 {
			t.Errorf("frame %d was acknowledged and is in the record %d times", i, kept[i])
		}
	}
}
