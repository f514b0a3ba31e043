package replicated

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go/jetstream"
	"pgregory.net/rapid"

	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/journal/replicated/natstest"
	"weald/stream/journal/replicated/patience"
	"weald/stream/journal/sqlite"
)

// A name that is taken makes one token of a subject, and the name of a stream and of a bucket, by the rules of
// NATS (no space, no dot, no wildcard, no separator of files, nothing that is not printed); any
// other is refused before there is a folder.
func TestNamesOfRecords(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "record")
	rapid.Check(t, func(t *rapid.T) {
		odd := rapid.StringOf(rapid.RuneFrom([]rune("aZ09-_ .*>/\\$\t\r\n\x00\u00e9\u2028")))
		name := rapid.OneOf(rapid.String(), odd, rapid.StringMatching(`[A-Za-z0-9_-]{0,62}.?`)).Draw(t, "name")
		if nameForm.MatchString(name) {
			o := Options{Name: name}
			if name == "" || len(name) > LongestName || strings.ContainsAny(name, " .*>/\\\t\r\n\x00$") || strings.ToValidUTF8(name, "") != name {
				t.Fatalf("%q is taken", name)
			}
			if n := len(strings.Split(o.subject(), ".")); n != 3 || len(o.stream()) > 255 {
				t.Fatalf("%q makes the subject %q, and the stream %q", name, o.subject(), o.stream())
			}
			return
		}
		if _, err := Open(t.Context(), dir, files, nil, Options{Name: name}); err == nil || !strings.Contains(err.Error(), "letters, digits, - and _") {
			t.Fatalf("%q: %v", name, err)
		}
	})
	for name, is := range map[string]bool{strings.Repeat("x", LongestName): true, strings.Repeat("x", LongestName+1): false, "larch\n": false} {
		if nameForm.MatchString(name) != is {
			t.Errorf("%q is taken: %v", name, !is)
		}
	}
	if _, err := os.Stat(dir); !os.IsNotExist(err) {
		t.Errorf("there is a folder: %v", err)
	}
}

// Servers whose messages are too small are told apart at the start, with what to set there; with
// the least that is enough a call of any size goes in parts.
func TestServersWithSmallMessages(t *testing.T) {
	c := natstest.ServeWith(t, func(o *server.Options) { o.MaxPayload = int32(patience.Payload(leastMessage)) - 1 })
	o := Options{Name: "ward", Replicas: 1}
	if _, err := Open(t.Context(), t.TempDir(), files, c.Connect(), o); err == nil || !strings.Contains(err.Error(), "max_payload") {
		t.Errorf("with too small ones: %v", err)
	}
	c.Change(0, func(o *server.Options) { o.MaxPayload++ })
	dir := t.TempDir()
	j := open(t, dir, c.Connect(), o)
	text := strings.Repeat("large ", 3000)
	if _, err := j.Append(t.Context(), journaltest.Mark(text)); err != nil {
		t.Fatal(err)
	}
	info, err := j.stream.Info(t.Context())
	if got := texts(t, j); err != nil || got != text || info.State.Msgs < 4 {
		t.Errorf("of %d bytes there are %d, in %d messages: %v", len(text), len(got), info.State.Msgs, err)
	}
}

// A stream that has been changed so that it may lose messages, or keep one twice, is not followed; one
// that is another program's neither.
func TestStreamsThatMayLoseMessages(t *testing.T) {
	whole := func() jetstream.StreamConfig {
		return jetstream.StreamConfig{
			Name: "weald-ward", Storage: jetstream.FileStorage, DenyDelete: true, DenyPurge: true, Duplicates: window,
			MaxMsgs: -1, MaxBytes: -1, MaxMsgsPerSubject: -1, Metadata: map[string]string{metaLog: "x", metaPosition: "7", metaOrd: "9"},
		}
	}
	if b, err := baseOf(whole()); err != nil || b != (base{"x", journal.Head{Position: 7, Ord: 9}}) {
		t.Errorf("one that is whole begins with %+v, %v", b, err)
	}
	for what, change := range map[string]func(c *jetstream.StreamConfig){
		"in memory":                  func(c *jetstream.StreamConfig) { c.Storage = jetstream.MemoryStorage },
		"messages can be deleted":    func(c *jetstream.StreamConfig) { c.DenyDelete = false },
		"it can be purged":           func(c *jetstream.StreamConfig) { c.DenyPurge = false },
		"so many messages":           func(c *jetstream.StreamConfig) { c.MaxMsgs = 1e6 },
		"so many of a subject":       func(c *jetstream.StreamConfig) { c.MaxMsgsPerSubject = 1e6 },
		"so many bytes":              func(c *jetstream.StreamConfig) { c.MaxBytes = 1e9 },
		"until it was read":          func(c *jetstream.StreamConfig) { c.Retention = jetstream.InterestPolicy },
		"ids forgotten in no time":   func(c *jetstream.StreamConfig) { c.Duplicates = 59e9 },
		"of another program":         func(c *jetstream.StreamConfig) { c.Metadata = nil },
		"without an id":              func(c *jetstream.StreamConfig) { c.Metadata[metaLog] = "" },
		"that begins with no number": func(c *jetstream.StreamConfig) { c.Metadata[metaPosition] = "-1" },
		"that begins with no input":  func(c *jetstream.StreamConfig) { c.Metadata[metaOrd] = "x" },
	} {
		c := whole()
		if change(&c); what == "" {
			continue
		}
		if _, err := baseOf(c); !errors.Is(err, journal.ErrForeign) || !strings.Contains(err.Error(), "weald-ward") {
			t.Errorf("%s: %v", what, err)
		}
	}
}

// A folder goes on with a log as long as that still has the message which it needs next: a
// new machine the first of all, and one that had begun a call in parts the first of these. A log
// that is brought from elsewhere may be behind the folder, and one that is not may not.
func TestWhereAFolderGoesOn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at := sqlite.Followed{Log: "x", Applied: rapid.Uint64Range(0, 9).Draw(t, "applied")}
		at.Next = rapid.Uint64Range(1, at.Applied+1).Draw(t, "next")
		empty := rapid.Bool().Draw(t, "new")
		if empty {
			at = sqlite.Followed{}
		}
		brought := rapid.Bool().Draw(t, "brought")
		first := rapid.Uint64Range(1, 9).Draw(t, "first")
		log := jetstream.StreamState{FirstSeq: first, LastSeq: rapid.Uint64Range(first-1, 12).Draw(t, "last")}
		got, err := begin(at, base{log: "x"}, journal.Head{}, log, brought)
		need := max(at.Next, 1)
		if ok := need >= log.FirstSeq && (brought || at.Applied <= log.LastSeq); ok != (err == nil) || !ok && !errors.Is(err, journal.ErrBroken) {
			t.Fatalf("a folder at %+v, and a log of messages %d to %d: %v", at, log.FirstSeq, log.LastSeq, err)
		}
		if err == nil && (got.Next != need || got.Applied != at.Applied || got.Log != "x") {
			t.Fatalf("a folder at %+v goes on at %+v", at, got)
		}
	})
}
