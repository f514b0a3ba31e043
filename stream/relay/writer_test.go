package relay

import (
	"bytes"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"weald/ingest/sample"
	"weald/stream/journal/replicated/natstest"
	"weald/stream/record"
)

// served starts a server, and returns what makes writers in it, and runs them.
func served(t *testing.T, log *slog.Logger) (c *natstest.Cluster, o Options, start func(*nats.Conn) (*Writer, <-chan error)) {
	c = natstest.Serve(t, 1)
	o = Options{Name: "ward", Replicas: 1, Keep: time.Hour}
	return c, o, func(conn *nats.Conn) (*Writer, <-chan error) {
		t.Helper()
		w, err := NewWriter(t.Context(), conn, o, log)
		if err != nil {
			t.Fatal(err)
		}
		ended := make(chan error, 1)
		go func() { ended <- w.Run(t.Context()) }()
		return w, ended
	}
}

func quiet() *slog.Logger { return slog.New(slog.DiscardHandler) }

// unsafe fails the test if a scan was said to be safe.
func unsafe(t *testing.T, safe <-chan struct{}) {
	t.Helper()
	select {
	case <-safe:
		t.Error("a scan is said to be safe that is not on the servers")
	default:
	}
}

// What a writer has in hand when its connection is closed for good is not safe, and it ends.
func TestNothingIsSafeOnAClosedConnection(t *testing.T) {
	t.Parallel()
	c, _, start := served(t, quiet())
	conn := c.Connect()
	w, ended := start(conn)
	safe, err := w.Put(t.Context(), "hub/a", scan(1))
	if err != nil {
		t.Fatal(err)
	}
	<-safe
	conn.Close()
	if safe, err = w.Put(t.Context(), "hub/a", scan(2)); err != nil {
		t.Fatal(err)
	}
	if err := <-ended; !errors.Is(err, ErrLost) {
		t.Errorf("it ended with %v", err)
	}
	unsafe(t, safe)
}

// A message that is on the servers, but whose acknowledgement never came, is safe when it
// is sent again, and is there once; one that another writer's claim was quicker than is not.
func TestAnAcknowledgementIsLost(t *testing.T) {
	t.Parallel()
	c, o, start := served(t, quiet())
	w, ended := start(c.Connect())
	js, err := jetstream.New(c.Connect())
	if err != nil {
		t.Fatal(err)
	}
	for n := range 3 { // as it will be sent
		one := scan(n)
		one.Arrived = sample.At(time.Now()).Add(time.Duration(n))
		body, _, err := pack(nil, []Item{{"hub/a", one}}, 1<<20)
		if err != nil {
			t.Fatal(err)
		}
		m := nats.NewMsg(o.subject())
		m.Header.Set(writerHeader, w.id)
		m.Header.Set(jetstream.MsgIDHeader, fmt.Sprintf("%s.%d", w.id, n+1))
		m.Data = body
		if _, err := js.PublishMsg(t.Context(), m); err != nil {
			t.Fatal(err)
		}
		safe, err := w.Put(t.Context(), "hub/a", one)
		if err != nil {
			t.Fatal(err)
		}
		<-safe
	}
	second, _ := start(c.Connect())
	safe, err := w.Put(t.Context(), "hub/a", scan(10))
	if err != nil {
		t.Fatal(err)
	}
	if err := <-ended; !errors.Is(err, ErrLost) {
		t.Errorf("it ended with %v", err)
	}
	unsafe(t, safe)
	if safe, err = second.Put(t.Context(), "hub/a", scan(3)); err != nil {
		t.Fatal(err)
	}
	<-safe
	got := taken(t, c.Connect(), o, sample.Past, quiet())
	if seqs := fmt.Sprint(got.seqs("hub/a")); seqs != "[0 1 2 3]" {
		t.Errorf("%s come", seqs)
	}
}

// A scan that no message can have is left out alone, counted and said; those beside it in
// the same run come.
func TestOneBadScan(t *testing.T) {
	t.Parallel()
	var said bytes.Buffer
	c, o, start := served(t, slog.New(slog.NewTextHandler(&said, nil)))
	w, ended := start(c.Connect())
	var safe <-chan struct{}
	w.mu.Lock() // so that all are taken together
	for n := range 20 {
		one := scan(n)
		one.Arrived = one.Arrived.Add(time.Duration(n))
		source := "hub/a"
		if n == 3 {
			source = strings.Repeat("x", record.MaxSource+1)
		}
		if n == 9 {
			one.Raw = make([]float64, record.MaxChannels+1)
		}
		w.items = append(w.items, Item{source, one})
	}
	safe = w.written
	w.mu.Unlock()
	wake(w.more)
	<-safe
	got := taken(t, c.Connect(), o, sample.Past, quiet())
	if seqs := fmt.Sprint(got.seqs("hub/a")); seqs != "[0 1 2 4 5 6 7 8 10 11 12 13 14 15 16 17 18 19]" {
		t.Errorf("%s come", seqs)
	}
	if n := len(w.Unsent()); n != 2 {
		t.Errorf("%d are counted", n)
	}
	if n := strings.Count(said.String(), "a scan cannot be handed on"); n != 2 {
		t.Errorf("it is said %d times: %s", n, said.String())
	}
	select {
	case err := <-ended:
		t.Error(err)
	default:
	}
}

// Of a run in which one scan can be in no message the others are packed, and a message is
// never longer than it may be while a shorter one is possible.
func TestPackLeavesOutOneAlone(t *testing.T) {
	t.Parallel()
	for bad := range 8 {
		var items []Item
		for n := range 8 {
			one := scan(n)
			one.Raw = make([]float64, 200)
			if n == bad { // noise, which cannot be made shorter
				for i := range one.Raw {
					one.Raw[i] = math.Sqrt(float64(i*7919 + n))
				}
			}
			items = append(items, Item{"hub/a", one})
		}
		const most = 1000
		var came []uint32
		out := 0
		for rest := items; len(rest) > 0; {
			b, n, err := pack(nil, rest, most)
			if err != nil {
				if !errors.Is(err, errTooLong) {
					t.Fatal(err)
				}
				out++
				rest = rest[1:]
				continue
			}
			if len(b) > most {
				t.Fatalf("%d bytes", len(b))
			}
			if err := unpack(b, func(i Item) { came = append(came, i.Scan.Seq) }); err != nil {
				t.Fatal(err)
			}
			rest = rest[n:]
		}
		if out != 1 || len(came) != 7 {
			t.Errorf("with a bad %d. one %v come, and %d were left out", bad, came, out)
		}
	}
}

// Whoever reads bridges after another one knows what that has handed on last, by which
// frames that come again are repeats, and so does one that begins anew.
func TestWhatWasHandedOnIsKnown(t *testing.T) {
	t.Parallel()
	c, _, start := served(t, quiet())
	w, _ := start(c.Connect())
	if h := w.Heard("hub/a"); len(h) != 0 || w.Last() != sample.Past {
		t.Errorf("of nothing %v is known, until %v", h, w.Last())
	}
	began := sample.At(time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC))
	var safe <-chan struct{}
	for n := range 300 {
		one := scan(n)
		one.Arrived, one.Counted, one.Millis = began.Add(time.Duration(n)*time.Second), n != 299, uint32(n*1000)
		var err error
		if safe, err = w.Put(t.Context(), []string{"hub/a", "hub/b"}[n%2], one); err != nil {
			t.Fatal(err)
		}
	}
	<-safe
	for range 2 { // the second begins behind a claim alone
		next, _ := start(c.Connect())
		a, b := next.Heard("hub/a"), next.Heard("hub/b")
		if len(a) < 50 || a[len(a)-1].Seq != 298 || a[len(a)-1].Millis != 298000 || b[len(b)-1].Seq != 297 {
			t.Errorf("%v and %v are known", a, b)
		}
		if want := began.Add(299 * time.Second); next.Last() != want {
			t.Errorf("the last arrived at %v, want %v", next.Last(), want)
		}
	}
	if a := w.Heard("hub/a"); len(a) != 150 || a[149].Seq != 298 {
		t.Errorf("by itself it knows %d", len(a))
	}
}

// A judge gets every scan that arrived after what it has, and asks for few that it has,
// whatever clock readings were stamped by.
func TestAJudgeGoesOnByArrival(t *testing.T) {
	t.Parallel()
	c, o, start := served(t, quiet())
	w, _ := start(c.Connect())
	hour := sample.At(time.Now()).Add(time.Hour) // this clock is an hour fast
	for n := range 100 {
		if n%30 == 10 {
			w, _ = start(c.Connect()) // claims stand between
		}
		one := scan(n)
		one.Arrived = hour.Add(time.Duration(n) * time.Minute)
		safe, err := w.Put(t.Context(), "hub/a", one)
		if err != nil {
			t.Fatal(err)
		}
		<-safe
	}
	for has := -1; has < 100; has += 7 {
		got := taken(t, c.Connect(), o, hour.Add(time.Duration(has)*time.Minute), quiet())
		if seqs := got.seqs("hub/a"); len(seqs) != 99-has || len(seqs) > 0 && seqs[0] != uint32(has+1) {
			t.Errorf("who has %d gets %v", has, seqs)
		}
	}
}

// Servers that are gone are said by both sides for as long as they are, and a connection that
// is closed for good ends both.
func TestWaitingIsKnown(t *testing.T) {
	t.Parallel()
	c, o, start := served(t, quiet())
	conn := c.Connect()
	w, ended := start(conn)
	got := &taker{}
	f := &Follower{Conn: conn, Options: o, After: sample.Past, Take: got.take, Log: quiet()}
	followed := make(chan error, 1)
	go func() { followed <- f.Run(t.Context()) }()
	put := func(n int) {
		if _, err := w.Put(t.Context(), "hub/a", scan(n)); err != nil {
			t.Fatal(err)
		}
	}
	waits := func(what string, want bool) {
		t.Helper()
		c.Eventually(what, func() bool {
			writer, why := w.Waits()
			judge, because := f.Waits()
			return (writer > 0) == want && (why != nil) == want && (judge > 0) == want && (because != nil) == want
		})
	}
	put(1)
	c.Eventually("nothing comes", func() bool { return got.len() == 1 })
	waits("it is said of servers that answer", false)
	c.Stop(0)
	put(2)
	waits("it is not said that they are gone", true)
	c.Start(0)
	waits("it is said of servers that are there again", false)
	c.Eventually("what waited does not come", func() bool { return got.len() == 2 })
	conn.Close()
	put(3)
	if err := <-ended; !errors.Is(err, ErrLost) {
		t.Errorf("the writer ended with %v", err)
	}
	if err := <-followed; !errors.Is(err, nats.ErrConnectionClosed) {
		t.Errorf("the judge's ended with %v", err)
	}
}

// A judge stops at what a newer version has written, before it would leave anything out, and
// so does whoever would read bridges behind such a one: by what it cannot read it does not
// know how far that had come.
func TestNewerVersions(t *testing.T) {
	t.Parallel()
	c, o, start := served(t, quiet())
	conn := c.Connect()
	w, _ := start(conn)
	for n := range 2 {
		safe, err := w.Put(t.Context(), "hub/a", scan(n))
		if err != nil {
			t.Fatal(err)
		}
		<-safe
	}
	js, err := jetstream.New(conn)
	if err != nil {
		t.Fatal(err)
	}
	newer := nats.NewMsg(o.subject())
	newer.Header.Set(writerHeader, w.id)
	newer.Data = []byte{messageVersion + 1, 7}
	if _, err := js.PublishMsg(t.Context(), newer); err != nil {
		t.Fatal(err)
	}
	got, abreast := &taker{}, false
	f := &Follower{Conn: conn, Options: o, After: sample.Past, Take: got.take, Log: quiet(), Abreast: func() { abreast = true }}
	if err := f.Run(t.Context()); !errors.Is(err, ErrNewer) || !errors.Is(err, record.ErrNewer) {
		t.Errorf("it ended with %v", err)
	}
	if seqs := fmt.Sprint(got.seqs("hub/a")); seqs != "[0 1]" || abreast {
		t.Errorf("%s come, abreast: %t", seqs, abreast)
	}
	f = &Follower{Conn: conn, Options: o, After: scan(1).Arrived, Take: got.take, Log: quiet()}
	if err := f.Run(t.Context()); !errors.Is(err, ErrNewer) {
		t.Errorf("who has all that it can read ended with %v", err)
	}
	if _, err := NewWriter(t.Context(), conn, o, quiet()); !errors.Is(err, ErrNewer) {
		t.Errorf("who reads behind a newer one ended with %v", err)
	}
}

// What a judge has taken last is known, and how much was to come then.
func TestHowFarAJudgeIsBehind(t *testing.T) {
	t.Parallel()
	c, o, start := served(t, quiet())
	w, _ := start(c.Connect())
	for n := range 5 {
		safe, err := w.Put(t.Context(), "hub/a", scan(n))
		if err != nil {
			t.Fatal(err)
		}
		<-safe // so that each is a message
	}
	took, on := make(chan struct{}), make(chan struct{})
	f := &Follower{Conn: c.Connect(), Options: o, After: sample.Past, Log: quiet(), Take: func(Item) { took <- struct{}{}; <-on }}
	if more, newest := f.Behind(); more != 0 || newest != sample.Past {
		t.Errorf("before anything %d wait, behind %v", more, newest)
	}
	go func() { _ = f.Run(t.Context()) }()
	for n := range 5 {
		<-took
		want := sample.Past
		if n > 0 {
			want = scan(n - 1).Arrived
		}
		if more, newest := f.Behind(); more != uint64(4-n) || newest != want {
			t.Errorf("in scan %d %d wait, behind %v, want %v", n, more, newest, want)
		}
		on <- struct{}{}
	}
}
