package main

import (
	"context"
	"fmt"
	"io"
	"syscall"

	"weald/config"
	"weald/ingest/serialport"
)

// watched is what is typed beside a daemon that runs.
func (s *site) watched() {
	daemon := s.lasts("weald run -c weald.yaml")
	at := daemon.says("listening on ")
	bed := s.lasts("weald emulate bed --pty ./bridge")
	bed.says("playing on ./bridge")
	as := s.mayRead()
	s.values(as, at, "bed-4", "mat.peak", 20, 200)

	s.cuff.mmHg.Store(40)
	s.values(as, at, "bench-2", "ankle.pressure", 50, 50.2) // as the configuration says
	s.does("weald calibrate fit --table leg-0.csv --keep weald.yaml --channel trolley/leg/0 --by E-01 --reference 'bench gauge'", `accepted`)
	s.values(as, at, "bench-2", "ankle.pressure", 39.9, 40.1) // as the table does
	s.does("weald calibrate check -c weald.yaml --channel trolley/leg/0 --at 40 --by E-01", `^trolley/leg/0: `)
	force, err := getJSON[struct{ Calibrations []struct{ ID string } }](as, at+"/api/v1/calibrations?in_force=true")
	if err != nil || len(force.Calibrations) != 1 {
		s.t.Fatalf("in force are %v, %v", force, err)
	}
	s.instead["0c1d5e7a9b3f42608d1e2c4a6b8f0d35"] = force.Calibrations[0].ID
	s.cuff.mmHg.Store(1)
	s.values(as, at, "bench-2", "ankle.pressure", 0.9, 1.1)
	s.does("weald calibrate zero -c weald.yaml --source trolley/leg --channels 0-3 --by E-01", `trolley/leg/0: [01]\.\d\d mmHg are taken off\n`, `trolley/leg/3: 1\.\d\d mmHg are taken off\n$`)
	s.values(as, at, "bench-2", "ankle.pressure", -0.1, 0.1)
	s.leadsThroughACalibration(as, at)

	link := s.does("weald seat link -c weald.yaml seat-1 --by N-4 --base https://weald.example", `^https://weald\.example/seat/#`)
	s.instead["l-3fk2mmqa"] = s.found(link, `Link (l-[a-z2-7]+) to seat-1`)
	s.does("weald seat links -c weald.yaml", s.instead["l-3fk2mmqa"]+`  seat-1 .*  works, not used`)
	s.does("weald seat revoke -c weald.yaml l-3fk2mmqa --by N-4", `to seat-1 is withdrawn`)

	before := s.desk.Load()
	s.does("weald notify test -c weald.yaml desk", `the receiver of desk has taken a test`)
	if s.desk.Load() == before {
		s.t.Error("the desk has heard of no test")
	}
	s.does("weald tls show -c weald.yaml", `for weald\.example,`, `ca\.pem`)
	s.does("weald doctor -c weald.yaml", `ok +bridge hub: port .*bridge is there`, `ok +daemon: one is running`)
	if last := s.objects(s.does("weald doctor -c weald.yaml --json", `"about":"sender desk"`)); last["state"] == nil {
		s.t.Errorf("the last finding is %v", last)
	}
	// A snapshot of the rules comes into the record with another configuration, at the latest;
	// before that nobody who was there lately can be taken out.
	s.write("weald.yaml", s.read("weald.yaml")+"# another\n")
	if err := daemon.cmd.Process.Signal(syscall.SIGHUP); err != nil {
		s.t.Fatal(err)
	}
	daemon.says("the configuration is in force")
	bed.ends()
	daemon.ends()
}

// leadsThroughACalibration begins one, which lasts for twenty minutes if it goes fast, and
// leaves it at its first pressure. What a terminal does on the rest of the way is told of
// in TestATerminalLeadsThroughACalibration, and what a daemon does in TestACalibrationComesIntoForce.
func (s *site) leadsThroughACalibration(as context.Context, at string) {
	run := s.lasts("weald calibrate run -c weald.yaml --source trolley/leg --channels 0-3 --by E-01 --reference 'bench gauge'")
	run.says(" 1 of 61, cycle 1 up: go to 0 mmHg")
	type going struct {
		Runs []struct {
			Bridge, Source, By, Reference string
			Channels                      []struct{ Channel int }
		}
	}
	now, err := getJSON[going](as, at+"/api/v1/calibrations/run")
	if want := "{[{trolley leg E-01 bench gauge [{0} {1} {2} {3}]}]}"; fmt.Sprint(now) != want || err != nil {
		s.t.Errorf("what goes on is %v, %v, want %s", now, err, want)
	}
	if _, err := io.WriteString(run.in, "leave\n"); err != nil {
		s.t.Fatal(err)
	}
	run.is()
	if now, err := getJSON[going](as, at+"/api/v1/calibrations/run"); len(now.Runs) > 0 || err != nil {
		s.t.Errorf("what was left goes on: %v, %v", now, err)
	}
}

// mayRead is somebody who may read the record, as commands of this machine are.
func (s *site) mayRead() (as context.Context) {
	s.t.Helper()
	eventually(s.t, longEnough, func() error {
		return askDaemon(s.t.Context(), s.path("record"), question{Console: true}, func(l answerLine) { as = context.WithValue(s.t.Context(), asKey{}, l.Key) })
	})
	return as
}

// values waits until a signal of a place lies between two values.
func (s *site) values(as context.Context, at, place, signal string, low, high float64) {
	s.t.Helper()
	c, problems := config.Load(s.path("weald.yaml"))
	if len(problems) > 0 {
		s.t.Fatal(problems)
	}
	if _, err := localPages(c); err != nil { // trusts their certificate
		s.t.Fatal(err)
	}
	eventually(s.t, longEnough, func() error {
		p, err := getJSON[struct {
			Signals map[string]struct{ Value *float64 }
		}](as, at+"/api/v1/places/"+place)
		if v := p.Signals[signal].Value; err == nil && (v == nil || *v < low || *v > high) {
			err = fmt.Errorf("%s of %s is %v of %v, want %g to %g", signal, place, v, p, low, high)
		}
		return err
	})
}

// afterwards is what is typed when the daemon has ended.
func (s *site) afterwards() {
	s.does("weald report calibration -c weald.yaml --channel trolley/leg/0 -o leg-0.html")
	s.shows("leg-0.html", "Calibration of trolley/leg/0", "bench gauge")
	s.does("weald report calibration -c weald.yaml --calibration 0c1d5e7a9b3f42608d1e2c4a6b8f0d35 -o leg-0.html")
	s.shows("leg-0.html", "Calibration of trolley/leg/0")
	s.does("weald person erase -c weald.yaml K-07 --yes", `erased`)
	if found(s.t, s.path("record"), "K-07") {
		s.t.Error("K-07 is in some file of the record")
	}
	s.playsARecording()
}

// playsARecording reads what is played on a port as a bridge would send it.
func (s *site) playsARecording() {
	played := s.lasts("weald emulate --recording night.txt --mat 2048 --pty ./bridge --speed 10")
	played.says("playing on ./bridge")
	line, err := serialport.Link{Path: s.path("bridge")}.Open(s.t.Context())
	if err != nil {
		s.t.Fatal(err)
	}
	scan := hears(s.t, line, 2048)
	if row := scan[0]; row < 0 || row > 19 || scan[2047] != row+2047 || scan[1023] != row+1023 {
		s.t.Errorf("the scan from %v to %v is no row of the file", row, scan[2047])
	}
	played.ends() // it waits for whoever reads the rest
}
