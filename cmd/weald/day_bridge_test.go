package main

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"net"
	"slices"
	"sync"
	"testing"
	"time"

	"weald/ingest/frame"
	"weald/ingest/sample"
	"weald/ingest/tcp/wire/wiretest"
)

// A wireless bridge is one end of a link of a fast world: a device that measures
// by a counter of its own, and a port that the daemon dials.
type wireless struct {
	world   world
	rng     *rand.Rand
	every   time.Duration // between scans
	ppm     float64       // that its counter runs fast
	lossy   bool          // frames get lost, come twice, and overtake each other
	reboots time.Duration // how long it runs at most; 0 for ever
	stores  bool          // what it could not send it sends later
	cuts    time.Duration // how long the road is there at most; 0 for ever
	read    func(at sample.Instant) []float64
	battery func(at sample.Instant) float64 // its level in percent; nil where it tells none

	// wire makes bytes of a scan.
	wire func(*wireless, *frame.Frame, sample.Instant) []byte

	next, booted, dies  sample.Instant
	cut, back           sample.Instant
	seq                 uint32
	kept                []*frame.Frame
	held                []byte // a frame that is being overtaken
	sent, late, started int
}

// run plays the device until ctx ends.
func (b *wireless) run(ctx context.Context, l net.Listener) {
	var mu sync.Mutex
	var conn net.Conn
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			mu.Lock()
			if conn != nil {
				conn.Close()
			}
			conn = c
			mu.Unlock()
		}
	}()
	defer func() {
		l.Close()
		mu.Lock()
		if conn != nil {
			conn.Close()
		}
		mu.Unlock()
	}()
	b.next = b.world.now()
	b.boot(b.next)
	b.cut = b.soon(b.cuts)
	for ctx.Err() == nil {
		now := b.world.now()
		mu.Lock()
		connected := conn != nil
		mu.Unlock()
		out := b.until(now, connected)
		mu.Lock()
		if conn != nil && now >= b.cut {
			conn.Close() // the road is gone
			conn, b.back, b.cut = nil, now.Add(10*time.Minute), sample.Never
		}
		if conn != nil && len(out) > 0 {
			_ = conn.SetWriteDeadline(time.Now().Add(time.Second))
			if _, err := conn.Write(out); err != nil {
				conn.Close()
				conn = nil
			}
		}
		mu.Unlock()
		time.Sleep(3 * time.Millisecond)
	}
}

// soon is a random instant within so long.
func (b *wireless) soon(within time.Duration) sample.Instant {
	if within == 0 {
		return sample.Never
	}
	return b.world.now().Add(time.Duration((0.5 + b.rng.Float64()/2) * float64(within)))
}

func (b *wireless) boot(at sample.Instant) {
	b.started++
	b.booted, b.seq, b.dies, b.kept = at, 0, b.soon(b.reboots), nil
}

// batteryEvery is after how many frames a bridge tells the level of its battery.
const batteryEvery = 100

// until returns what is sent of all that is measured until an instant.
func (b *wireless) until(now sample.Instant, connected bool) (out []byte) {
	for ; b.next <= now; b.next = b.next.Add(b.every) {
		if b.next >= b.dies {
			b.boot(b.next.Add(2 * time.Minute))
		}
		if b.next < b.booted {
			continue
		}
		f := &frame.Frame{
			Kind: frame.Readings, Source: 1, Seq: b.seq,
			Millis: uint32(float64(b.next.Sub(b.booted).Milliseconds()) * (1 + b.ppm/1e6)), Readings: b.read(b.next),
		}
		b.seq++
		if !connected || b.next < b.back {
			if b.stores {
				b.kept = append(b.kept, f)
			}
			continue
		}
		if b.back != 0 { // it has been away
			b.back, b.cut = 0, b.soon(b.cuts)
		}
		bytes := b.wire(b, f, b.next)
		switch luck := b.rng.Float64(); {
		case !b.lossy || luck >= 0.05:
		case luck < 0.02:
			continue
		case luck < 0.03:
			bytes = append(slices.Clone(bytes), bytes...)
		case luck < 0.05 && b.held == nil:
			b.held = bytes
			continue
		}
		out = append(out, bytes...)
		if b.battery != nil && b.seq%batteryEvery == 0 {
			status := &frame.Frame{Kind: frame.Status, Source: 1, Seq: b.seq, Millis: f.Millis,
				Health: frame.Health{BatteryMV: -1, BatteryPercent: int(b.battery(b.next)), Celsius: frame.NoCelsius}}
			out = append(out, b.wire(b, status, b.next)...)
			b.seq++
		}
		out = append(out, b.held...)
		b.held = nil
		b.sent++
		for range min(3, len(b.kept)) {
			b.kept[0].Stored = true
			out = append(out, b.wire(b, b.kept[0], b.next)...)
			b.kept = b.kept[1:]
			b.late++
		}
	}
	return out
}

// packed is wire for the packed format.
func packed(_ *wireless, f *frame.Frame, _ sample.Instant) []byte {
	counts := *f // tenths of mmHg
	counts.Readings = slices.Clone(f.Readings)
	for i := range counts.Readings {
		counts.Readings[i] = math.Round(10 * counts.Readings[i])
	}
	out, err := frame.AppendWire(nil, &counts, frame.U16)
	if err != nil {
		panic(err)
	}
	return out
}

// rows is wire for a logger that knows the time of day, in a day in which it is
// wrong for a while: somebody sets its clock an hour ahead, and then back.
func rows(b *wireless, f *frame.Frame, at sample.Instant) []byte {
	since := at.Sub(sample.At(b.world.began))
	if since > 90*time.Minute && since < 3*time.Hour {
		at = at.Add(time.Hour)
	}
	return fmt.Appendf(nil, "%s;%.1f\n", at.Time().UTC().Format("2006-01-02T15:04:05.000Z07:00"), f.Readings[0])
}

// wave is a pressure that rises and falls, with noise.
func wave(rng *rand.Rand, low, high float64, period time.Duration) func(sample.Instant) float64 {
	return func(at sample.Instant) float64 {
		phase := 2 * math.Pi * float64(at) / float64(period)
		return (low+high)/2 + (high-low)/2*math.Sin(phase) + (high-low)/50*rng.NormFloat64()
	}
}

// dayBridges starts the bridges of a day, and returns them by id with the ports
// that lead to them. What they have done may be looked at after end.
func dayBridges(t *testing.T, w world) (bridges map[string]*wireless, ports map[string]string, end func()) {
	t.Helper()
	seed := uint64(0)
	rng := func() *rand.Rand { seed++; return rand.New(rand.NewPCG(seed, 17)) }
	tight, slow, sore := wave(rng(), 25, 75, 47*time.Minute), wave(rng(), 10, 50, 31*time.Minute), wave(rng(), 20, 70, 23*time.Minute)
	calf := wave(rng(), 20, 60, 37*time.Minute)
	moves := wave(rng(), 0, 1, 9*time.Minute)
	body := func(at sample.Instant) float64 { return max(0, moves(at)) }
	noise, breath := rng(), rng()
	bridges = map[string]*wireless{
		"steady": {ppm: 0, battery: wave(rng(), 5, 60, 53*time.Minute), read: func(sample.Instant) []float64 { return []float64{40 + noise.Float64()} }},
		"rough": {ppm: 480, lossy: true, reboots: time.Hour, cuts: 40 * time.Minute,
			read: func(at sample.Instant) []float64 { return []float64{tight(at), tight(at) + 2, slow(at)} }},
		"locker": {ppm: -300, stores: true, cuts: 50 * time.Minute,
			read: func(at sample.Instant) []float64 { return []float64{sore(at)} }},
		"logger": {wire: rows, cuts: time.Hour, read: func(at sample.Instant) []float64 { return []float64{calf(at)} }},
		// A mat of 4 by 6 cells under somebody who moves; one cell is dead.
		"mat": {ppm: 90, read: func(at sample.Instant) []float64 {
			cells := make([]float64, 24)
			for i := range cells {
				cells[i] = 30 + 2.5*float64(i%6)*body(at) + 40*body(at.Add(time.Duration(i)*time.Second)) + breath.Float64()
			}
			cells[8] = 30 // what the others read without load
			return cells
		}},
	}
	ports = map[string]string{}
	ctx, stop := context.WithCancel(context.Background())
	var playing sync.WaitGroup
	for id, b := range bridges {
		b.world, b.rng, b.every = w, rng(), 2*time.Second
		if b.wire == nil {
			b.wire = packed
		}
		l := wiretest.Listen(t)
		ports[id] = l.Addr().String()
		playing.Go(func() { b.run(ctx, l) })
	}
	end = sync.OnceFunc(func() { stop(); playing.Wait() })
	t.Cleanup(end)
	return bridges, ports, end
}
