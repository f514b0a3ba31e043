package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"weald/ingest/capture"
	"weald/ingest/emulate"
	"weald/ingest/frame"
	"weald/ingest/sample"
	"weald/ingest/tcp/wire/wiretest"
	"weald/rules/attempt"
	"weald/rules/compression"
	"weald/stream/journal/sqlite"
	"weald/stream/record"
	"weald/stream/sessions"
)

// siteYAML is the site that examples are typed at: what a ward has, with log-ins and
// without a network. What is to be filled in: the address of the pages, the ports of the
// trolley, the logger and the chairs, of which only the trolley is there, and of the desk.
const siteYAML = `
data: record
web: {listen: %q, names: [weald.example], tls: {self_signed: true}, accounts: required}
bridges:
  - id: trolley
    link: {tcp: {dial: %q}}
    format: line
    sources: [{number: 0, id: leg, channels: 4, rate: 10, calibration: {slope: 0.05, offset: -10, u: 2}}]
  - id: logger
    link: {tcp: {dial: %q}}
    format: delimited
    delimited: {separator: ",", header_lines: 1, time: {column: 0, as: rfc3339}, channels: [1, 2]}
    sources: [{number: 0, id: leg, channels: 2, rate: 5, unit: mmHg}]
  - id: hub
    link: {serial: {port: ./bridge}}
    format: packed
    sources: [{number: 0, id: mat4, channels: 2048, rate: 2, calibration: {slope: 0.05, offset: 0, u: 2}}]
  - id: chairs
    link: {tcp: {dial: %q}}
    format: line
    sources: [{number: 0, id: seat, channels: 2, rate: 1, unit: mmHg}]
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [logger/leg/0]}, {id: calf, channels: [logger/leg/1]}]}
  - {id: bench-2, kind: wrap, sites: [{id: ankle, channels: [trolley/leg/0]}, {id: calf, channels: [trolley/leg/3]}]}
  - {id: bed-4, kind: bed, mat: {source: hub/mat4, rows: 64, columns: 32, pitch_mm: [30, 25], head: first_row}}
  - {id: seat-1, kind: seat, sites: [{id: left, channels: [chairs/seat/0]}, {id: right, channels: [chairs/seat/1]}]}
rules:
  - {id: tight, at: {place: bench-1}, limit: {watch: ankle.pressure, above: 60}, on_delay: 30s}
  - {id: pressed, at: {kind: bed}, limit: {watch: mat.pressure, above: 32}, on_delay: 5s}
notify:
  - {id: desk, webhook: {url: %q, secret_file: desk.secret}}
`

// A site is what the examples find.
type site struct {
	*shell
	cuff *cuff
	desk *atomic.Int32 // messages that the desk has taken
}

// layOut lays out what the examples are about, under the names that they use.
func layOut(t *testing.T, ty *typing) *site {
	t.Helper()
	s := &site{shell: newShell(t, ty), cuff: newCuff(t), desk: &atomic.Int32{}}
	desk := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { s.desk.Add(1) }))
	t.Cleanup(desk.Close)
	for _, dir := range []string{"/etc/weald", "/var/lib/weald", "/mnt/stick"} {
		s.instead[dir] = s.path(dir)
		if err := os.MkdirAll(s.path(dir), 0o700); err != nil {
			t.Fatal(err)
		}
	}
	yaml := fmt.Sprintf(siteYAML, wiretest.Vacant(t), s.cuff.at, wiretest.Vacant(t), wiretest.Vacant(t), desk.URL)
	s.write("weald.yaml", yaml)
	s.write("desk.secret", "0123456789abcdef0123456789abcdef\n")
	s.write("milder.yaml", "rules:\n  - {id: pressed, at: {kind: bed}, limit: {watch: mat.pressure, above: 32}, on_delay: 1m}\n")
	s.write("password", "vier blaue Heringe\n")
	sit(t, s.path("k07.csv"), "2026-03-01T22:00:00Z", 2*time.Second, time.Minute)
	s.write("leg-0.csv", hysteresis(3))
	s.write("cell.csv", hysteresis(3))
	s.write("leg-0-held.csv", heldAt100())
	s.write("cells.csv", inAChamber())
	s.write("night.txt", rowsOfAMat(20))
	if err := errors.Join(aNight(s.path("record"), yaml), aCapture(s.path("night.wcap"))); err != nil {
		t.Fatal(err)
	}
	return s
}

// hysteresis is a table of a sensor with 200 counts at rest and 25 a mmHg.
func hysteresis(cycles int) string {
	var b strings.Builder
	b.WriteString("reference_mmhg,raw,cycle,direction\n")
	for cycle := 1; cycle <= cycles; cycle++ {
		for i := range 13 {
			at, way := float64(i*10), "up"
			if i > 6 {
				at, way = float64((12-i)*10), "down"
			}
			fmt.Fprintf(&b, "%v,%v,%d,%s\n", at, 200+25*at+float64(cycle*(i%3)), cycle, way)
		}
	}
	return b.String()
}

// heldAt100 is what creeps under one pressure, by a count every minute.
func heldAt100() string {
	var b strings.Builder
	b.WriteString("age_s,raw\n")
	for i := range 60 {
		fmt.Fprintf(&b, "%d,%v\n", 10+i*12, 1700+float64(i)/4)
	}
	return b.String()
}

// inAChamber is of four cells of 7 counts a kPa and more, in a chamber that goes up and
// down three times and stands still for 12 s at each pressure.
func inAChamber() string {
	var b strings.Builder
	b.WriteString("t,kPa,a,b,c,d\n")
	at := 0.0
	for range 3 {
		for i := range 13 {
			kPa := 20 * float64(min(i, 12-i))
			for k := range 24 {
				fmt.Fprintf(&b, "%g,%g", at, kPa)
				for cell := range 4 {
					fmt.Fprintf(&b, ",%.2f", 100+float64(7+cell)*kPa+math.Sin(float64(7*k+i+cell)))
				}
				b.WriteString("\n")
				at += 0.5
			}
		}
	}
	return b.String()
}

// rowsOfAMat are scans of 2,048 cells, a row each: its number in the first, and rising.
func rowsOfAMat(rows int) string {
	var b strings.Builder
	for row := range rows {
		for cell := range 2048 {
			if cell > 0 {
				b.WriteByte('\t')
			}
			fmt.Fprint(&b, row+cell)
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// aNight makes the record of the site: from 22:00 on the first of March K-07 at the
// bench, in a session and in a try, K-12 on the seat, and somebody in the bed for a
// minute; and somebody in the bed of late, at every hour for a day and a half.
func aNight(dir, yaml string) error {
	ctx := context.Background()
	store, err := sqlite.Open(ctx, dir, sqlite.Options{Reserve: -1})
	if err != nil {
		return err
	}
	began := time.Date(2026, 3, 1, 22, 0, 0, 0, time.UTC)
	ord := uint64(1)
	entry := func(at time.Time, place, author string, body record.Body) {
		i := sample.At(at)
		_, e := store.Append(ctx, record.Entry{At: i, Written: i, Place: place, Author: author, Body: body})
		err = errors.Join(err, e)
	}
	v := record.NewConfig(1, yaml)
	_, err = store.Append(ctx, record.Entry{Ord: ord, At: sample.At(began), Written: sample.At(began), Body: v})
	scans := func(source string, from time.Time, every time.Duration, n int, raw func(i int) []float64) {
		b := record.Block{Source: source, Config: 1}
		for i := range n {
			ord++
			at := sample.At(from.Add(time.Duration(i) * every))
			b.Scans = append(b.Scans, record.Scan{Ord: ord, At: at, Arrived: at, Rail: math.NaN(), Raw: raw(i)})
		}
		err = errors.Join(err, store.AppendReadings(ctx, []record.Block{b}, nil))
	}
	somebody, e := lies()
	err = errors.Join(err, e)
	lying := func(int) []float64 { return somebody }

	entry(began, "bench-1", "T-1", record.Session{ID: "s-k3x9p2", What: "begun", Code: "K-07", Config: 1})
	entry(began, "seat-1", "T-1", record.Session{ID: "s-seat", What: "begun", Code: "K-12", Config: 1})
	entry(began, "bench-1", "T-1", record.Attempt{ID: "a-k3x9p2", What: "begun", Code: "K-07", Config: 1, Plan: &attempt.Plan{
		Sites:    []attempt.Site{{ID: "ankle", HeightCM: 12, GirthCM: 22, Aim: attempt.Band{Low: 35, High: 45}}},
		Wrapping: compression.Wrapping{Newtons: 0.5 * compression.Gravity, Layers: 2, WidthCM: 10},
	}})
	entry(began.Add(40*time.Second), "bench-1", "T-1", record.Attempt{ID: "a-k3x9p2", What: "read", Code: "K-07", Config: 1,
		Read: &attempt.Reading{Step: attempt.Lying, At: sample.At(began.Add(40 * time.Second)), Values: []attempt.Value{{MMHg: 40, U: 2, Shared: 1.2}}}})
	scans("logger/leg", began, 200*time.Millisecond, 300, func(i int) []float64 { return []float64{40 + float64(i)/100, 20} })
	scans("chairs/seat", began, time.Second, 60, func(int) []float64 { return []float64{50, 48} })
	scans("hub/mat4", began, 500*time.Millisecond, 120, lying)
	entry(began.Add(time.Minute), "bench-1", "T-1", record.Attempt{ID: "a-k3x9p2", What: "ended", Code: "K-07", Config: 1})
	entry(began.Add(time.Minute), "bench-1", "T-1", record.Session{ID: "s-k3x9p2", What: sessions.Ended, Code: "K-07", Config: 1})
	entry(began.Add(time.Minute), "seat-1", "T-1", record.Session{ID: "s-seat", What: sessions.Ended, Code: "K-12", Config: 1})
	hour := time.Now().Truncate(time.Hour)
	for ago := 36; ago > 0; ago-- {
		scans("hub/mat4", hour.Add(-time.Duration(ago)*time.Hour), 500*time.Millisecond, 4, lying)
	}
	return errors.Join(err, store.Close())
}

// lies is a scan of the mat in the bed with somebody on it.
func lies() ([]float64, error) {
	bed, err := emulate.Named("bed")
	if err != nil {
		return nil, err
	}
	var scan emulate.Scan
	err = bed.New(0, 1).Next(&scan)
	return scan.Values, err
}

// aCapture makes a capture of the hub of 30 s, of which 10 are before 22:00.
func aCapture(path string) error {
	somebody, err := lies()
	if err != nil {
		return err
	}
	began := time.Date(2026, 3, 1, 21, 59, 50, 0, time.UTC)
	w, err := capture.Create(path, capture.Header{Bridge: "hub", Format: "packed", Started: began})
	if err != nil {
		return err
	}
	err = w.Connected(sample.At(began))
	for i := range uint32(60) {
		b, e := frame.AppendWire(nil, &frame.Frame{Kind: frame.Readings, Seq: i, Millis: 500 * i, Readings: somebody}, frame.U12)
		err = errors.Join(err, e, w.Record(sample.At(began.Add(time.Duration(i)*500*time.Millisecond)), b))
	}
	return errors.Join(err, w.Close())
}

// A cuff is a bridge with four channels of 200 counts at rest and 25 a mmHg, over TCP,
// which it is read at ten times a second.
type cuff struct {
	at   string
	mmHg atomic.Int64
}

func newCuff(t *testing.T) *cuff {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	c := &cuff{at: l.Addr().String()}
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			c.plays(conn)
		}
	}()
	t.Cleanup(func() { l.Close(); <-ended })
	return c
}

// plays sends what is due until nobody takes it.
func (c *cuff) plays(conn net.Conn) {
	defer conn.Close()
	began, sent := time.Now(), uint32(0)
	var b []byte
	for range time.Tick(50 * time.Millisecond) {
		due := uint32(time.Since(began) / (100 * time.Millisecond))
		b = b[:0]
		for ; sent < due; sent++ {
			f := frame.Frame{Kind: frame.Readings, Seq: sent, Millis: sent * 100}
			for channel := range 4 {
				f.Readings = append(f.Readings, float64(200+25*c.mmHg.Load()+int64((int(sent)+channel)%3)))
			}
			var err error
			if b, err = frame.AppendLine(b, &f); err != nil {
				panic(err) // a mistake of the test
			}
		}
		if _, err := conn.Write(b); err != nil {
			return
		}
	}
}
