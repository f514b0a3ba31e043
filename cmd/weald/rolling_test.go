package main

import (
	"bytes"
	"encoding/gob"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"weald/config"
	"weald/ingest"
	"weald/ingest/frame"
	"weald/ingest/raced"
	"weald/ingest/sample"
	"weald/ingest/tcp/wire/wiretest"
	"weald/stream/journal/replicated/natstest"
	"weald/stream/versions"
)

var (
	former    = flag.String("former", "", "a program of a former version, which machines run that are still to be replaced; without it they run this one, and what is tested is the order")
	newStatus = flag.String("new-status", "", "write what a reader of the present version tells of a bridge into testdata/said, under this name")
)

// launchFormer starts a daemon of the former version.
func launchFormer(t *testing.T, config string) *victim {
	t.Helper()
	if *former == "" {
		return launch(t, config)
	}
	v := &victim{t: t, cmd: exec.Command(*former, "run", "-c", config)}
	v.begin()
	v.serves()
	return v
}

// Machines of two versions keep one record while they are replaced one after the other, under
// load: the one that stands by first, as is written, or, as people are people, the one that
// works. Each takes over from the other version and reads what that writes. Nothing that was
// acknowledged is lost or doubled, all have the same record, and it judged anew gives the same
// alerts.
func TestMachinesAreReplacedOneAfterTheOther(t *testing.T) {
	raced.Skip(t, "machines that are ended and started, and what they leave in the record")
	t.Parallel()
	servers := natstest.Serve(t, 1)
	board, ctx, busy, end := waving(t)
	defer end()
	paths, addresses := aPair(t, servers.URLs(), board)
	machines := [2]*victim{launchFormer(t, paths[0]), nil}
	works := func(i int) {
		t.Helper()
		eventually(t, longEnough, func() error {
			got, err := bridge(addresses[i], "board")
			if err == nil && got.State != "open" {
				err = fmt.Errorf("the bridge is %s", got.State)
			}
			if err != nil {
				err = fmt.Errorf("weald-%c does not work: %w; %s", 'a'+i, err, machines[i].stderr.String())
			}
			return err
		})
	}
	works(0)
	noted := map[string]bool{} // of busy
	var many atomic.Int64
	busy.Go(func() {
		for n := 0; ctx.Err() == nil; n++ {
			words := fmt.Sprintf("note %d", n)
			for _, address := range addresses {
				if done, _ := noteMark(address, "bench-1", words); done { // which only one of them does
					noted[words] = true
					many.Add(1)
					break
				}
			}
			time.Sleep(30 * time.Millisecond)
		}
	})
	abreast := func(i int) { // with what the other one writes
		t.Helper()
		was := many.Load()
		eventually(t, longEnough, func() error {
			if now := many.Load(); now < was+20 {
				return fmt.Errorf("%d notes, and there were %d", now, was)
			}
			return nil
		})
		if machines[i] == nil {
			return
		}
		saysSoon(t, machines[i], "/readyz", fmt.Sprintf("weald-%c does the work", 'a'+1-i))
	}
	replace := func(i int, by func(*testing.T, string) *victim) {
		t.Helper()
		if machines[i] != nil {
			machines[i].end()
		}
		machines[i] = by(t, paths[i])
	}
	replace(1, launchFormer)
	abreast(1)
	replace(1, launch) // as it is written: the one that stands by
	abreast(1)         // and reads what the former version writes
	machines[0].end()  // then the one that works
	machines[0] = nil
	works(1)
	machines[0] = launchFormer(t, paths[0]) // which somebody starts again as it was
	abreast(0)                              // and it reads what this version writes
	machines[1].kill()                      // and has to work
	machines[1] = nil
	works(0)
	replace(1, launch)
	abreast(1)
	machines[0].end()
	works(1)
	machines[0] = launch(t, paths[0])
	abreast(0)
	end()
	machines[1].end()
	machines[0].end()
	dirs := [2]string{recordBeside(paths[0]), recordBeside(paths[1])}
	store, done := recordIn(t, dirs[0])
	marks := tallied(t, store).noted
	done()
	for words := range noted {
		if marks[words] != 1 {
			t.Errorf("%s was acknowledged, and is kept %d times", words, marks[words])
		}
	}
	sameEntries(t, dirs[1], dirs[0])
	sameAlerts(t, kept(t, dirs[0]), paths[0])
	t.Logf("%d notes, each once; former is %q", len(noted), *former)
}

// A machine that stands by and finds a message of a newer version ends, says what to do, and
// keeps its record; so it does when it is started again as it is.
func TestAMessageOfANewerVersion(t *testing.T) {
	t.Parallel()
	servers := natstest.Serve(t, 1)
	machine := func(name string) string {
		return write(t, name+".yaml", fmt.Sprintf(`data: record
web: {listen: "127.0.0.1:%s"}
cluster: {servers: [%s], replicas: 1, machine: %s}
bridges:
  - {id: board, link: {tcp: {dial: "127.0.0.1:9"}}, format: packed, sources: [{number: 1, id: leg, channels: 2, rate: 20, unit: mmHg}]}
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [board/leg/0]}]}
`, portOf(wiretest.Vacant(t)), strings.Join(servers.URLs(), ", "), name))
	}
	a := launch(t, machine("weald-a"))
	eventually(t, longEnough, func() error {
		if said := a.stderr.String(); !strings.Contains(said, "does the work now") {
			return fmt.Errorf("it does not do the work: %s", said)
		}
		return nil
	})
	path := machine("weald-b")
	b := launch(t, path)
	saysSoon(t, b, "/readyz", "weald-a does the work")
	newer := nats.NewMsg("weald.ward.calls")
	newer.Header.Set("Weald-Call", "2.weald-c.1.1.1")
	newer.Data = []byte{99, 1, 2, 3}
	conn := servers.Connect()
	if err := errors.Join(conn.PublishMsg(newer), conn.Flush()); err != nil {
		t.Fatal(err)
	}
	_ = b.cmd.Wait() // says how it ended, which is looked at below
	b.ended = true
	again := exec.Command(os.Args[0], path)
	again.Env = append(os.Environ(), fmt.Sprintf("%s=%v", atSpeed, newWorld(1)))
	out, _ := again.CombinedOutput()
	for i, said := range []string{b.stderr.String(), string(out)} {
		if !strings.Contains(said, "is of a newer version of weald: install that here") {
			t.Errorf("%d: it says %s", i, said)
		}
	}
	if b.cmd.ProcessState.ExitCode() != 1 || again.ProcessState.ExitCode() != 1 {
		t.Errorf("they ended with %v and %v", b.cmd.ProcessState, again.ProcessState)
	}
	store, _ := recordIn(t, recordBeside(path))
	inOrder(t, store)
}

// toldStatus is what is in every file of testdata/said of a bridge.
func toldStatus() ingest.Status {
	at := sample.At(time.Date(2026, 11, 27, 18, 0, 0, 0, time.UTC))
	return ingest.Status{
		Bridge: "board", Link: "the board at 10.0.0.5:9000", Format: "packed", State: ingest.Open, Since: at, NextTry: sample.Never, Opened: 3,
		Trouble: "one in ten frames is damaged", TroubleSince: at, Bytes: 12345, LastByte: at, Frames: 678, LastGood: at,
		Bad: map[frame.Reason]uint64{frame.BadChecksum: 9}, LastBad: "a checksum is wrong",
		Sources: []ingest.SourceStatus{{ID: "board/leg"}},
	}
}

// What a reader of any former version tells of its bridges is understood, and what one tells
// now by who knows no more than was told at first.
func TestWhatFormerReadersTell(t *testing.T) {
	now, err := wordOf(toldStatus(), handing{})
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range versions.Former(t, "testdata/said/*.gob", *newStatus, func() []byte { return now }) {
		e := newElsewhere(&config.Bridge{ID: "board", Sources: []config.Source{{ID: "board/leg"}}}, nil)
		e.hear(v.Said)
		got, want := e.Status(), toldStatus()
		if a, b := fmt.Sprintf("%+v", got), fmt.Sprintf("%+v", want); a != b {
			t.Errorf("%s: it is\n%s\nand was\n%s", v.Name, a, b)
		}
	}
	var first struct {
		Bridge, Link, Trouble, State string

		Since   int64
		Frames  uint64
		Bad     map[string]uint64
		Sources []struct{ ID string }
	}
	if err := gob.NewDecoder(bytes.NewReader(now)).Decode(&first); err != nil {
		t.Fatal(err)
	}
	want := toldStatus()
	if first.Bridge != "board" || first.Trouble != want.Trouble || first.Frames != 678 || len(first.Sources) != 1 || first.Sources[0].ID != "board/leg" || first.State != string(want.State) || first.Since != int64(want.Since) {
		t.Errorf("who knows no more has %+v", first)
	}
}
