package main

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"weald/ingest/emulate"
	"weald/ingest/emulate/hospital"
	"weald/ingest/frame"
)

// What TestWard is to be like.
var (
	wardMats  = flag.Int("ward-mats", 200, "how many mats of 2,048 cells a ward has")
	wardFor   = flag.Duration("ward-for", 0, "for how long a ward is watched, by hand; 0 skips it")
	wardSpeed = flag.Float64("ward-speed", 1, "how many times as fast as life")
)

// manyBeds are invented beds that are judged as the demonstration's are, each scanned
// rate times a second, and the daemon's configuration for them.
func manyBeds(t *testing.T, mats, rate int, speed float64) (h *hospital.Hospital, config string) {
	t.Helper()
	h, err := hospital.New(hospital.Options{Scenario: "bed", Places: mats, Rate: float64(rate), Speed: speed, TCP: "127.0.0.1:0", Pages: "127.0.0.1:0", Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	if config, err = h.Config(); err != nil {
		t.Fatal(err)
	}
	return h, config
}

// playing are manyBeds that are played until the test ends.
func playing(t *testing.T, mats, rate int, speed float64) (config string) {
	t.Helper()
	h, config := manyBeds(t, mats, rate, speed)
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error)
	go func() { done <- h.Run(ctx) }()
	t.Cleanup(func() {
		stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	return config
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
	v := launchIn(t, newWorld(*wardSpeed), write(t, "ward.yaml", playing(t, *wardMats, 1, *wardSpeed)))
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
