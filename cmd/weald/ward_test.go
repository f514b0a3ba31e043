package main

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"math"
	"net"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"weald/ingest/emulate"
	"weald/ingest/frame"
)

// What TestWard is to be like.
var (
	wardMats  = flag.Int("ward-mats", 200, "how many mats of 2,048 cells a ward has")
	wardFor   = flag.Duration("ward-for", 0, "for how long a ward is watched, by hand; 0 skips it")
	wardSpeed = flag.Float64("ward-speed", 1, "how many times as fast as life")
)

// bedsConfig is a ward of beds that are judged as the demonstration's are, of which
// each is scanned rate times a second.
func bedsConfig(mats, rate int, address string) string {
	var b strings.Builder
	fmt.Fprint(&b, "data: record\nweb: {listen: \"127.0.0.1:0\"}\nbridges:\n")
	for i := range mats {
		fmt.Fprintf(&b, "  - {id: hub-%d, link: {tcp: {dial: %q}}, format: packed, sources: [{number: 1, id: mat, channels: 2048, rate: %d, calibration: {slope: 0.05, offset: 0, u: 3}}]}\n", i, address, rate)
	}
	fmt.Fprint(&b, "places:\n")
	for i := range mats {
		fmt.Fprintf(&b, "  - {id: bed-%d, kind: bed, mat: {source: hub-%d/mat, rows: 64, columns: 32, pitch_mm: [30, 28], head: first_row}}\n", i, i)
	}
	fmt.Fprint(&b, `rules:
  - {id: pelvis-loaded, at: {kind: bed}, limit: {watch: pelvis.pressure, above: 60, deadband: 4}, on_delay: 40s, resets_after: 10s, off_delay: 5s, priority: medium}
  - {id: long-on-one-spot, at: {kind: bed}, limit: {watch: mat.pressure, above: 32, deadband: 4}, on_delay: 30m, resets_after: 2m, off_delay: 30s, priority: low}
  - {id: turn-due, at: {kind: bed}, turn: {interval: 45m}, priority: low}
  - {id: tolerance-used, at: {kind: bed}, exposure: {model: reswick_rogers, of: pelvis, share: 0.1, floor: 20, recovery: 10m}, resets_after: 1m, priority: low}
`)
	return b.String()
}

// beds plays somebody lying on a mat, rate times a second, to everybody who connects.
// Mats know nothing of each other: their scans are spread over the time between two.
func beds(ctx context.Context, l net.Listener, rate int, speed float64) {
	var all sync.WaitGroup
	defer all.Wait()
	context.AfterFunc(ctx, func() { l.Close() })
	for seed := uint64(1); ; seed++ {
		c, err := l.Accept()
		if err != nil {
			return
		}
		all.Go(func() {
			defer c.Close()
			_, phase := math.Modf(float64(seed) * math.Phi)
			time.Sleep(time.Duration(phase / float64(rate) / speed * float64(time.Second)))
			_ = bed(seed, rate, speed).Play(ctx, c) // ends with either side
		})
	}
}

// bed plays somebody who lies on a mat, which is read so many times a second.
func bed(seed uint64, rate int, speed float64) *emulate.Player {
	body := emulate.NewBed(64, 32, 1, []emulate.Lie{
		{Posture: emulate.Supine, For: time.Duration(20+seed%7) * time.Minute},
		{Posture: emulate.OnLeft, For: 35 * time.Minute}, {Posture: emulate.OnRight, For: 25 * time.Minute},
	}, seed)
	return &emulate.Player{
		Stream:   emulate.NewSampled(1, 2048, float64(rate), body, emulate.Sensor{PerMMHg: 20, Top: 4095, Noise: 4, Gain: 0.05, Dead: 0.001}, seed),
		Encoding: emulate.Encoding{Coding: frame.U12}, Speed: speed, Seed: seed,
	}
}

// A ward of beds is watched for a while, by a daemon that is a process of its own
// and keeps a record: what it takes of memory.
func TestWard(t *testing.T) {
	if *wardFor == 0 {
		t.Skip("by hand: -ward-for 10m")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	var sending sync.WaitGroup
	sending.Go(func() { beds(ctx, l, 1, *wardSpeed) })
	defer sending.Wait()
	defer stop()
	v := launchIn(t, newWorld(*wardSpeed), write(t, "ward.yaml", bedsConfig(*wardMats, 1, l.Addr().String())))
	began := time.Now()
	for time.Since(began) < *wardFor {
		time.Sleep(min(30*time.Second, time.Until(began.Add(*wardFor))))
		t.Logf("after %v: %s", time.Since(began).Round(time.Second), memoryOf(t, v.cmd.Process.Pid))
	}
	v.end()
	t.Log(v.stderr.String())
}

// memoryOf tells what a process has of memory.
func memoryOf(t *testing.T, pid int) string {
	t.Helper()
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for line := range bytes.Lines(status) {
		if bytes.HasPrefix(line, []byte("VmRSS")) || bytes.HasPrefix(line, []byte("VmHWM")) || bytes.HasPrefix(line, []byte("RssAnon")) {
			out = append(out, strings.Join(strings.Fields(string(line)), " "))
		}
	}
	return strings.Join(out, ", ")
}
