package replicated

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"hash/crc32"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/journal/replicated/natstest"
	"weald/stream/journal/sqlite"
	"weald/stream/record"
	"weald/stream/versions"
)

var newLog = flag.String("new-log", "", "write what the present version says to other machines into testdata/logs, under this name")

// Said is all that machines say to each other through the servers, as some version did.
type said struct {
	Metadata map[string]string // of the stream
	Messages []saidMessage     // in it
	Lease    json.RawMessage   // what whoever writes says of itself
	Roster   string            // how many leases it has, where there are shares
}

type saidMessage struct {
	Headers nats.Header
	Data    []byte
}

// holder is whose lease is in every file of testdata/logs.
var holder = Holder{Machine: "weald-a", Pages: "https://weald-a.larch.example:8420", Since: time.Date(2026, 11, 27, 18, 0, 0, 0, time.UTC)}

// told are the calls that are in every file of testdata/logs: before anybody claimed, by
// whoever did first, and by whoever did then. What is new there goes into another function.
func told(t *testing.T, turn int, j journal.Journal) {
	t.Helper()
	ctx, all := t.Context(), calls()
	var err error
	switch turn {
	case 0:
		_, err = j.Append(ctx, journaltest.Mark("of anybody"))
	case 1:
		err0 := j.AppendReadings(ctx, all["readings"].blocks, nil)
		_, err1 := j.Append(ctx, all["entries"].entries...)
		err2 := j.AppendReadings(ctx, nil, []record.Tick{{Ord: 19, At: noon, Place: "bed-4"}})
		_, err3 := j.PutDocument(ctx, *all["document"].document)
		err4 := j.PutSnapshot(ctx, record.Snapshot{Ord: 19, At: noon, Config: 1, Body: []byte("state")})
		err5 := j.PutHistory(ctx, all["history"].stretches...)
		_, err6 := j.PutDocument(ctx, record.Document{Name: "regions", Version: 1, Written: noon, Body: bytes.Repeat([]byte("in parts "), 300)})
		err = errors.Join(err0, err1, err2, err3, err4, err5, err6)
	case 2:
		_, err1 := j.Append(ctx, journaltest.Mark("of another writer"))
		_, err2 := j.PutDocument(ctx, record.Document{Name: "sites", Written: noon, Body: []byte("{}")})
		_, err3 := j.PutDocument(ctx, record.Document{Name: "sites", Version: 1, Written: noon})
		err = errors.Join(err1, err2, err3)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// saidNow lets machines of the present version say all that they say.
func saidNow(t *testing.T) (now said) {
	t.Helper()
	c := natstest.Serve(t, 1)
	conn, o := c.Connect(), Options{Name: "ward", Replicas: 1}
	a, b := open(t, t.TempDir(), conn, o), open(t, t.TempDir(), conn, o)
	a.most = 1000
	told(t, 0, a)
	for turn, j := range []*Journal{a, b} {
		caughtUp(t, c, b, a)
		if err := j.Claim(t.Context()); err != nil {
			t.Fatal(err)
		}
		told(t, turn+1, j)
	}
	if _, err := a.Append(t.Context(), journaltest.Mark("refused")); !errors.Is(err, ErrSuperseded) {
		t.Fatal(err)
	}
	info, err := a.stream.Info(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	now.Metadata = map[string]string{}
	for _, key := range []string{metaLog, metaPosition, metaOrd} {
		now.Metadata[key] = info.Config.Metadata[key]
	}
	for seq := range info.State.LastSeq {
		m, err := a.stream.GetMsg(t.Context(), seq+1)
		if err != nil {
			t.Fatal(err)
		}
		now.Messages = append(now.Messages, saidMessage{m.Header, m.Data})
	}
	roster, err := NewRoster(t.Context(), conn, o, 3)
	if err != nil {
		t.Fatal(err)
	}
	lease, err := NewLease(t.Context(), conn, o, holder, roster)
	if err != nil {
		t.Fatal(err)
	}
	if err := lease.Take(t.Context(), func() bool { return true }); err != nil {
		t.Fatal(err)
	}
	defer lease.GiveBack()
	roster.announce(t.Context(), true)
	value := func(key string) []byte {
		e, err := lease.kv.Get(t.Context(), key)
		if err != nil {
			t.Fatal(err)
		}
		return e.Value()
	}
	now.Lease, now.Roster = value(leaseKey), string(value(roster.key))
	return now
}

// What machines of any former version said to others is understood as what it was: those
// of two versions keep one record while they are replaced one after the other.
func TestWhatFormerVersionsSaid(t *testing.T) {
	now := func() []byte {
		b, err := json.MarshalIndent(saidNow(t), "", " ")
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	want, err := sqlite.Open(t.Context(), t.TempDir(), files)
	if err != nil {
		t.Fatal(err)
	}
	defer want.Close()
	for turn := range 3 {
		told(t, turn, want)
	}
	c := natstest.Serve(t, 1)
	conn := c.Connect()
	for i, v := range versions.Former(t, "testdata/logs/*.json", *newLog, now) {
		t.Run(v.Name, func(t *testing.T) {
			var then said
			if err := json.Unmarshal(v.Said, &then); err != nil {
				t.Fatal(err)
			}
			o := Options{Name: fmt.Sprintf("ward-%d", i), Replicas: 1}
			sayAgain(t, conn, o, then)
			j := open(t, t.TempDir(), conn, o)
			alike(t, want, j)
			for _, k := range []journal.Journal{want, j} {
				s, err := k.Snapshot(t.Context(), 1<<62)
				points, err2 := k.History(t.Context(), "bed-4", "mat.peak", record.Second, noon, noon.Add(time.Minute), nil)
				if err != nil || err2 != nil || string(s.Body) != "state" || s.Ord != 19 || len(points) != 1 || points[0].Max != 3 {
					t.Errorf("a snapshot %+v, %v; history %+v, %v", s, err, points, err2)
				}
			}
			if got := j.current.Load(); got != 2 {
				t.Errorf("it is in term %d", got)
			}
			if err := j.Claim(t.Context()); err != nil {
				t.Error(err)
			}
			if _, err := j.Append(t.Context(), journaltest.Mark("it goes on")); err != nil {
				t.Error(err)
			}
			lease, err := NewLease(t.Context(), conn, o, Holder{Machine: "weald-b"}, nil)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := lease.kv.Put(t.Context(), leaseKey, then.Lease); err != nil {
				t.Fatal(err)
			}
			lease.look(t.Context())
			if h := lease.Holder(); h == nil || h.Machine != holder.Machine || h.Pages != holder.Pages || h.Since.IsZero() {
				t.Errorf("the lease is held by %+v", h)
			}
			r := &Roster{shares: 3, others: map[string]sight{}}
			now := time.Now()
			r.see(machineKeys+"other", true, then.Roster, now)
			if machines, least := r.count(now); machines != 2 || least != 1 {
				t.Errorf("%d machines, of which one has %d leases", machines, least)
			}
		})
	}
}

// sayAgain makes the log of a record out of what was said.
func sayAgain(t *testing.T, conn *nats.Conn, o Options, then said) {
	t.Helper()
	js, err := jetstream.New(conn)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := js.CreateStream(t.Context(), jetstream.StreamConfig{
		Name: o.stream(), Subjects: []string{o.subject()}, Storage: jetstream.FileStorage, Duplicates: window,
		DenyDelete: true, DenyPurge: true, Metadata: then.Metadata,
	}); err != nil {
		t.Fatal(err)
	}
	for _, m := range then.Messages {
		m.Headers.Del(jetstream.ExpectedStreamHeader) // which was called otherwise
		if _, err := js.PublishMsg(t.Context(), &nats.Msg{Subject: o.subject(), Header: m.Headers, Data: m.Data}); err != nil {
			t.Fatal(err)
		}
	}
}

// promised is the newest version of each form that machines which are still to be replaced
// can read, as far as what a writer puts into the log by itself is concerned. Whoever writes
// a newer one here must let a version be in use before that reads it and does not write it:
// else the machines that come last stop in the middle of an upgrade. Only then is it entered.
var promised = map[byte]byte{'B': 4, 'T': 1, 'E': 1, 'D': 1, 'S': 1, 'H': 1}

// What a machine writes now can be read by those that are replaced after it. This reads as
// the first version did, with nothing of the code that is tested.
func TestWhatIsSaidNowIsAsPromised(t *testing.T) {
	now := saidNow(t)
	bodies := map[string][]byte{}
	forms := map[byte]bool{}
	for i, m := range now.Messages {
		fields := strings.Split(m.Headers.Get("Weald-Call"), ".")
		if len(fields) != 5 || fields[1] == "" {
			t.Fatalf("message %d is labelled %q", i+1, fields)
		}
		if m.Headers.Get("Nats-Msg-Id") == "" {
			t.Errorf("message %d has no id, and may be there twice", i+1)
		}
		writer, part, parts := fields[1], fields[3], fields[4]
		body := append(bodies[writer], m.Data...)
		if bodies[writer] = body; part != parts {
			continue
		}
		delete(bodies, writer)
		if body[0] != 1 {
			t.Errorf("message %d is of version %d", i+1, body[0])
		}
		for body = body[1:]; len(body) > 0; {
			n, width := binary.Uvarint(body)
			thing := body[width : width+int(n)]
			body = body[width+int(n):]
			if form, version := thing[0], thing[1]; version == 0 || version > promised[form] {
				t.Errorf("message %d has a %q of version %d, and what is promised is %d", i+1, form, version, promised[form])
			}
			forms[thing[0]] = true
			in, sum := thing[:len(thing)-4], binary.LittleEndian.Uint32(thing[len(thing)-4:])
			if got := crc32.Checksum(in, crc32.MakeTable(crc32.Castagnoli)); got != sum {
				t.Errorf("message %d: the checksum is %x, not %x", i+1, got, sum)
			}
		}
	}
	if len(forms) != len(promised) {
		t.Errorf("of the forms %v only %v were said", promised, forms)
	}
	for _, key := range []string{"weald-log", "weald-base-position", "weald-base-ord"} {
		if now.Metadata[key] == "" {
			t.Errorf("the stream has no %s", key)
		}
	}
	var lease map[string]string
	if err := json.Unmarshal(now.Lease, &lease); err != nil || lease["machine"] != "weald-a" || lease["pages"] != holder.Pages {
		t.Errorf("the lease says %s: %v", now.Lease, err)
	}
	if _, err := time.Parse(time.RFC3339, lease["since"]); err != nil {
		t.Error(err)
	}
	if now.Roster != "1" {
		t.Errorf("the roster says %q, which is no number to others", now.Roster)
	}
}

// A message of a newer version ends following, with a sentence that says what to do, and
// nothing behind it is taken in; whoever can read it goes on with it.
func TestANewerMessage(t *testing.T) {
	c := natstest.Serve(t, 1)
	o, dir := Options{Name: "ward", Replicas: 1}, t.TempDir()
	newer, older := open(t, t.TempDir(), c.Connect(), o), open(t, dir, c.Connect(), o)
	if _, err := newer.Append(t.Context(), journaltest.Mark("known to both")); err != nil {
		t.Fatal(err)
	}
	caughtUp(t, c, older, newer)
	if err := newer.publish(t.Context(), label{0, newer.writer, 1000, 1, 1}, []byte{callVersion + 1, 1, 2, 3}); err != nil {
		t.Fatal(err)
	}
	behind, err := (&call{entries: []record.Entry{journaltest.Mark("behind it")}}).append(nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := newer.publish(t.Context(), label{0, "third", 1, 1, 1}, behind); err != nil {
		t.Fatal(err)
	}
	<-older.Ended().Done()
	if err := context.Cause(older.Ended()); !errors.Is(err, record.ErrNewer) || errors.Is(err, journal.ErrBroken) || !strings.Contains(err.Error(), "install that here") {
		t.Errorf("it ended with %v", err)
	}
	if err := older.Close(); err != nil {
		t.Error(err)
	}
	if _, err := Open(t.Context(), dir, files, c.Connect(), o); !errors.Is(err, record.ErrNewer) {
		t.Errorf("started anew it says %v", err)
	}
	store, err := sqlite.Open(t.Context(), dir, files)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	if at, err := store.Followed(t.Context()); err != nil || at.Next > 2 {
		t.Errorf("it would go on with message %d, and has not understood the second: %v", at.Next, err)
	}
	if got := journaltest.Gather(t, store.Entries(t.Context(), journal.Query{})); len(got) != 1 {
		t.Errorf("it has %d entries", len(got))
	}
}
