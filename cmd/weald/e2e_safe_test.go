package main

import (
	"fmt"
	"math"
	"path/filepath"
	"testing"
	"time"

	"weald/ingest/frame"
	"weald/ingest/mqtt/mosquitto"
	"weald/ingest/tcp/wire/wiretest"
)

// seqsKept counts how often each sequence number of a source is in the record.
func seqsKept(t *testing.T, dir, source string) map[uint32]int {
	t.Helper()
	store, done := recordIn(t, dir)
	defer done()
	kept := map[uint32]int{}
	for in, err := range store.Inputs(t.Context(), 1, math.MaxUint64) {
		if err != nil {
			t.Fatal(err)
		}
		if in.Scan != nil && in.Source == source {
			kept[in.Scan.Seq]++
		}
	}
	return kept
}

func legFrame(seq uint32) *frame.Frame {
	return &frame.Frame{Kind: frame.Readings, Source: 1, Seq: seq, Millis: seq * 100, Readings: []float64{40, 42}}
}

// A daemon that is killed the moment after it acknowledged a frame has the frame
// in its record: a gateway does not send again what was acknowledged. What it
// does send again, for want of an acknowledgement that the kill has swallowed,
// counts once, by a daemon that was not there when it came first.
func TestWhatWasAcknowledgedIsInTheRecord(t *testing.T) {
	t.Parallel()
	port := wiretest.Vacant(t)
	name := write(t, "ward.yaml", "data: record\n"+fmt.Sprintf(wardConfig, port))
	secrets(t, name, "hub-a", "hub-b")
	dir := filepath.Join(filepath.Dir(name), "record")
	v := launch(t, name)
	reachable(t, port)
	a := newPublisher(t, port, "hub-a", "hub-a", "hub-a-secret")
	const frames, again = 25, 10
	for i := range uint32(frames) {
		a.send(legFrame(i))
		time.Sleep(20 * time.Millisecond)
	}
	v.kill()
	kept := seqsKept(t, dir, "hub-a/leg")
	for i := range uint32(frames) {
		if kept[i] != 1 {
			t.Errorf("frame %d was acknowledged and is in the record %d times", i, kept[i])
		}
	}

	v = launch(t, name)
	reachable(t, port)
	a = newPublisher(t, port, "hub-a", "hub-a", "hub-a-secret")
	for i := uint32(frames - again); i < frames+5; i++ {
		a.send(legFrame(i))
	}
	eventually(t, 10*time.Second, counted(t, v.address, map[string]float64{
		`weald_frames_total{bridge="hub-a"}`:              again + 5,
		`weald_scans_total{source="hub-a/leg"}`:           5,
		`weald_repeated_frames_total{source="hub-a/leg"}`: again,
		`weald_gap_scans_total{source="hub-a/leg"}`:       0,
	}))
	v.end()
	kept = seqsKept(t, dir, "hub-a/leg")
	for i := range uint32(frames + 5) {
		if kept[i] != 1 {
			t.Errorf("frame %d is in the record %d times", i, kept[i])
		}
	}
}

// While weald is dead, its site's broker keeps for it what a device goes on to
// send. It comes in a burst, and yet every frame is judged at the time at which
// it was measured, and once.
func TestWhatABrokerKeepsHasItsOwnTime(t *testing.T) {
	t.Parallel()
	site := mosquitto.Start(t, mosquitto.Options{})
	link := fmt.Sprintf("mqtt: {broker: %q}", site.Address)
	name := write(t, "hub.yaml", "data: record\n"+fmt.Sprintf(hubConfig, "", link, "packed"))
	dir := filepath.Join(filepath.Dir(name), "record")
	gateway := newPublisher(t, site.Address, "hub", "", "")
	began := time.Now()
	seq := uint32(0)
	send := func(lasting time.Duration) {
		for until := time.Now().Add(lasting); time.Now().Before(until); seq++ {
			gateway.send(&frame.Frame{Kind: frame.Readings, Source: 1, Seq: seq, Millis: uint32(time.Since(began).Milliseconds()), Readings: []float64{40, 42}})
			time.Sleep(50 * time.Millisecond)
		}
	}
	v := launch(t, name)
	eventually(t, 10*time.Second, counted(t, v.address, map[string]float64{`weald_bridge_open{bridge="hub"}`: 1}))
	send(2 * time.Second)
	v.kill()
	before := len(seqsKept(t, dir, "hub/leg"))
	send(3 * time.Second)
	v = launch(t, name)
	send(time.Second)
	last := seq
	eventually(t, 10*time.Second, counted(t, v.address, map[string]float64{
		`weald_scans_total{source="hub/leg"}`:     float64(int(last) - before),
		`weald_gap_scans_total{source="hub/leg"}`: 0,
	}))
	v.end()
	store, done := recordIn(t, dir)
	defer done()
	kept := map[uint32]int{}
	for in, err := range store.Inputs(t.Context(), 1, math.MaxUint64) {
		if err != nil {
			t.Fatal(err)
		}
		if in.Scan == nil || in.Source != "hub/leg" {
			continue
		}
		kept[in.Scan.Seq]++
		measured := began.Add(time.Duration(in.Scan.Millis) * time.Millisecond)
		if off := in.Scan.At.Time().Sub(measured); off.Abs() > time.Second {
			t.Errorf("frame %d is at %v off the time at which it was measured, and came %v after it", in.Scan.Seq, off, in.Scan.Arrived.Sub(in.Scan.At))
		}
	}
	for i := range last {
		if kept[i] != 1 {
			t.Errorf("frame %d is in the record %d times", i, kept[i])
		}
	}
}
