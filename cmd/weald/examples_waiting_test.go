package main

import (
	"fmt"
	"io"
	"net"
	"slices"
	"testing"
	"time"

	"weald/config"
	"weald/ingest/ble/standin"
	"weald/ingest/frame"
	"weald/ingest/tcp/wire/wiretest"
	"weald/webui/api"
)

// examplesOfTheDemonstration has the ward Larch move, at life's pace and twenty times as
// fast, on ports that nothing else has.
func examplesOfTheDemonstration(t *testing.T, ty *typing) {
	s := newShell(t, ty)
	s.instead["127.0.0.1:8421"] = wiretest.Vacant(t)
	once := s.lasts("weald demo", "--listen", wiretest.Vacant(t)) // but for 8420, where one may run
	fast := s.lasts("weald demo --speed 20 --listen 127.0.0.1:8421")
	for _, d := range []*ongoing{once, fast} {
		at := d.says("listening on ")
		if d == fast && at != "http://"+s.instead["127.0.0.1:8421"] {
			t.Errorf("it listens on %s", at)
		}
		eventually(t, longEnough, func() error {
			all, err := get[struct {
				Places []struct {
					Kind    string
					Signals map[string]struct{ Value *float64 }
				}
			}](at, "/api/v1/places")
			kinds := map[string]int{}
			for _, p := range all.Places {
				for _, v := range p.Signals {
					if v.Value != nil {
						kinds[p.Kind]++ // something of it is known
						break
					}
				}
			}
			if fmt.Sprint(kinds) != "map[bed:6 seat:2 wrap:2]" {
				err = fmt.Errorf("places that are heard of: %v, %v", kinds, err)
			}
			return err
		})
	}
	once.ends()
	fast.ends()
}

// examplesOfManyPlaces has a daemon hear what is played for it.
func examplesOfManyPlaces(t *testing.T, ty *typing) {
	s := newShell(t, ty)
	s.instead["127.0.0.1:4000"], s.instead["127.0.0.1:1883"] = wiretest.Vacant(t), wiretest.Vacant(t)
	beds := s.lasts("weald emulate bed --places 200 --rate 1 --tcp 127.0.0.1:4000 --write-config ward.yaml")
	beds.says("which are heard by: weald run -c ward.yaml")
	s.weald("weald check ward.yaml")
	c, problems := config.Load(s.path("ward.yaml"))
	if len(problems) > 0 || len(c.Plan().Places) != 200 || c.Plan().Sources[199].Channels != 2048 {
		t.Errorf("the ward: %v", problems)
	}
	line, err := net.Dial("tcp", s.instead["127.0.0.1:4000"])
	if err != nil {
		t.Fatal(err)
	}
	if scan := hears(t, line, 2048); slices.Max(scan) < 400 { // of 20 mmHg
		t.Error("nobody is in the bed")
	}
	beds.ends()

	legs := s.lasts("weald emulate wrap --places 50 --mqtt 127.0.0.1:1883 --write-config legs.yaml")
	legs.says("which are heard by: weald run -c legs.yaml")
	s.write("legs.yaml", s.read("legs.yaml")+"\nweb: {listen: \"127.0.0.1:0\"}\n") // but for 8420, where another may run
	daemon := s.begins("weald run -c legs.yaml")
	at := daemon.says("listening on ")
	eventually(t, longEnough, func() error {
		all, err := get[struct{ Bridges []api.Bridge }](at, "/api/v1/bridges")
		heard := 0
		for _, b := range all.Bridges {
			if len(b.Sources) == 1 && b.Frames > 0 {
				heard++
			}
		}
		if len(all.Bridges) != 50 || heard == 0 {
			err = fmt.Errorf("%d of %d bridges are heard, %v", heard, len(all.Bridges), err)
		}
		return err
	})
	legs.ends()
	daemon.ends()
}

// examplesOfPorts finds a pad that is on the air of a stand-in for BlueZ.
func examplesOfPorts(t *testing.T, ty *typing) {
	lines := map[string]time.Duration{"weald ports": 5 * time.Second, "weald ports --scan 20s": 20 * time.Second}
	for line := range lines {
		ty.is(t, line) // also where there is no message bus, which skips the rest
	}
	bus := standin.StartBus(t)
	airOn(t, bus)
	s := newShell(t, ty, "DBUS_SYSTEM_BUS_ADDRESS="+bus)
	for line, least := range lines {
		t.Run(line, func(t *testing.T) {
			t.Parallel()
			began := time.Now()
			of := *s
			of.t = t
			of.does(line, `C4:2D:5E:00:10:7F  Larch pad 3  -61 dBm  frames `, `C4:2D:5E:00:10:80  gauge-2 +-48 dBm  pressure `)
			if took := time.Since(began); took < least {
				t.Errorf("it listened for %v", took)
			}
		})
	}
}

// oneScan is put together from packed frames.
type oneScan struct{ scan []float64 }

func (h *oneScan) Bad(*frame.Bad) {} // the first bytes may be the end of a frame

func (h *oneScan) Frame(f *frame.Frame) {
	if f.Kind != frame.Readings {
		return
	}
	if f.First == 0 {
		h.scan = h.scan[:0] // the rest of the last one was lost
	}
	if f.First == len(h.scan) {
		h.scan = append(h.scan, f.Readings...)
	}
}

// hears takes the first scan of so many cells from a line, and closes it.
func hears(t *testing.T, line io.ReadCloser, cells int) []float64 {
	t.Helper()
	defer line.Close()
	h, packed, b := &oneScan{}, frame.NewPacked(), make([]byte, 4096)
	for len(h.scan) < cells {
		n, err := line.Read(b)
		if err != nil {
			t.Fatalf("after %d cells: %v", len(h.scan), err)
		}
		packed.Feed(b[:n], h)
	}
	return h.scan[:cells]
}
