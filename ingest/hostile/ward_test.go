package hostile

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"weald/ingest"
	"weald/ingest/calib"
	"weald/ingest/frame"
	"weald/ingest/mqtt/broker"
	"weald/ingest/processor"
	"weald/ingest/sample"
	"weald/ingest/tcp"
)

// A big ward: what all of ingest must do on less than one core.
const (
	bigBridges = 200
	bigRate    = 10
	matCells   = 2048
)

// BenchmarkWard measures what 200 bridges with a mat each cost from the socket
// to the scan: links, the own MQTT listener, decoding, clocks, assembly and
// calibration. An operation is a tenth of a second of the ward, one scan of every
// bridge. The senders are a process of their own and not counted. It fails where
// the ward takes more than one core or a scan is lost.
func BenchmarkWard(b *testing.B) {
	for _, c := range []struct {
		name   string
		coding frame.Coding
		mqtt   bool
	}{
		{"tcp/12bit", frame.U12, false},
		{"tcp/16bit", frame.U16, false},
		{"mqtt/12bit", frame.U12, true},
		{"mqtt/16bit", frame.U16, true},
	} {
		b.Run(c.name, func(b *testing.B) { ward(b, c.coding, c.mqtt) })
	}
}

func ward(b *testing.B, coding frame.Coding, overMQTT bool) {
	ctx, cancel := context.WithCancel(context.Background())
	var all sync.WaitGroup
	defer all.Wait()
	defer cancel()
	j := job{Bridges: bigBridges, Rate: bigRate, Coding: coding}
	var own *broker.Broker
	if overMQTT {
		own = listener(b, ctx, &all)
		j.Broker = own.Address()
	}
	address, stop := sending(b, j)
	defer stop()
	link := func(id string) ingest.Link {
		if overMQTT {
			return own.Link(id)
		}
		return &tcp.Dial{Address: address}
	}

	var scans atomic.Int64
	came := make([]atomic.Bool, bigBridges)
	var sups []*ingest.Supervisor
	for i := range bigBridges {
		id := bridgeID(i)
		sup, err := ingest.New(ingest.Bridge{ID: id, Link: link(id), Format: ingest.Format{Kind: ingest.Packed}, Sources: []ingest.Source{{
			ID: id + "/mat", Index: i, Channels: matCells, Rate: bigRate, StaleAfter: time.Second,
			Unit: calib.Counts, Calibration: []calib.Line{{Slope: 0.05, Offset: -3, U: 1}},
		}}}, ingest.Options{
			Now: func() sample.Instant { return sample.At(time.Now()) },
			Out: func(s *sample.Scan) {
				scans.Add(1)
				came[s.Source].Store(true)
			},
		})
		if err != nil {
			b.Fatal(err)
		}
		sups = append(sups, sup)
		all.Go(func() { _ = sup.Run(ctx) }) // returns nil
	}
	eventually(b, time.Minute, func() error {
		for i := range came {
			if !came[i].Load() {
				return fmt.Errorf("nothing from bridge %d: %s", i, sups[i].Status().Trouble)
			}
		}
		return nil
	})

	bytes := func() (n uint64) {
		for _, s := range sups {
			n += s.Status().Bytes
		}
		return n
	}
	before, had, read := processor.Used(b), scans.Load(), bytes()
	began := time.Now()
	for b.Loop() {
		time.Sleep(time.Second / bigRate)
	}
	took := time.Since(began).Seconds()
	cores := (processor.Used(b) - before).Seconds() / took
	b.ReportMetric(cores, "cores")
	b.ReportMetric(float64(scans.Load()-had)/took, "scans/s")
	b.ReportMetric(float64(bytes()-read)/took/1e6, "MB/s")
	b.ReportMetric(0, "ns/op") // an operation lasts as long as it was made to
	if cores >= 1 {
		b.Errorf("the ward takes %.2f cores", cores)
	}
	for _, s := range sups {
		if st := s.Status(); st.Sources[0].Gaps > 0 || st.BadFrames() > 0 || st.Opened != 1 {
			b.Errorf("%s: %d scans lost, %d refused, opened %d times: %s", st.Bridge, st.Sources[0].Gaps, st.BadFrames(), st.Opened, st.Trouble)
		}
	}
}

// listener runs the own MQTT listener with an account for each bridge.
func listener(b *testing.B, ctx context.Context, all *sync.WaitGroup) *broker.Broker {
	b.Helper()
	dir := b.TempDir()
	var accounts []broker.Account
	for i := range bigBridges {
		a := broker.Account{Bridge: bridgeID(i), PasswordFile: filepath.Join(dir, bridgeID(i))}
		if err := os.WriteFile(a.PasswordFile, []byte(secret(a.Bridge)+"\n"), 0o600); err != nil {
			b.Fatal(err)
		}
		accounts = append(accounts, a)
	}
	own, err := broker.New(broker.Options{Address: "127.0.0.1:0", Accounts: accounts})
	if err != nil {
		b.Fatal(err)
	}
	all.Go(func() {
		if err := own.Run(ctx); err != nil {
			b.Error(err)
		}
	})
	eventually(b, 10*time.Second, func() error {
		if own.Address() == "" {
			return fmt.Errorf("the listener does not listen")
		}
		return nil
	})
	return own
}
