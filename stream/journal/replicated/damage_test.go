package replicated

import (
	"encoding/binary"
	"errors"
	"slices"
	"testing"
	"time"

	"weald/stream/record"
)

// No bit of a call can be another without that being noticed, wherever it is; nor can a call end
// early, but where one of its things ends: that it has all of them the servers vouch for, who keep
// a message whole or not at all.
func TestADamagedCallIsNoCall(t *testing.T) {
	known := func(err error) bool {
		return errors.Is(err, record.ErrDamaged) || errors.Is(err, record.ErrNewer) || errors.Is(err, record.ErrForm)
	}
	for name, c := range calls() {
		body, err := c.append(nil)
		if err != nil {
			t.Fatal(err)
		}
		for i := range body {
			for bit := range 8 {
				bad := slices.Clone(body)
				bad[i] ^= 1 << bit
				if got, err := decode(bad); !known(err) {
					t.Errorf("%s with bit %d of byte %d another is %+v, %v", name, bit, i, got, err)
				}
			}
		}
		ends := map[int]bool{1: true}
		for at := 1; at < len(body); ends[at] = true {
			n, width := binary.Uvarint(body[at:])
			at += width + int(n)
		}
		for n := range body {
			if got, err := decode(body[:n]); (err == nil) != ends[n] || err != nil && !known(err) {
				t.Errorf("%s cut to %d bytes of %d is %+v, %v", name, n, len(body), got, err)
			}
		}
	}
}

// A call is of one method, with one document or snapshot: what could only be carried out in part
// is refused whole, and so is what changes nothing of a record by its form.
func TestACallIsOfOneMethod(t *testing.T) {
	all := calls()
	things := func(names ...string) []byte {
		body := []byte{callVersion}
		for _, name := range names {
			one, err := all[name].append(nil)
			if err != nil {
				t.Fatal(err)
			}
			body = append(body, one[1:]...)
		}
		return body
	}
	for _, x := range []string{"entries", "readings", "document", "snapshot", "history"} {
		for _, y := range []string{"entries", "readings", "document", "snapshot", "history"} {
			want := x == y && x != "document" && x != "snapshot"
			if c, err := decode(things(x, y)); (err == nil) != want || err != nil && !errors.Is(err, record.ErrDamaged) {
				t.Errorf("%s with %s is %+v, %v", x, y, c, err)
			}
		}
	}
	if c, err := decode(things("readings", "ticks")); err != nil || len(c.ticks) != 2 || len(c.blocks) != 2 {
		t.Errorf("readings with more ticks are %+v, %v", c, err)
	}
	if c, err := decode(things()); err != nil || !c.empty() {
		t.Errorf("a claim is %+v, %v", c, err)
	}
	first, err := (&record.Document{Name: "regions", Written: noon}).Append(nil)
	if err != nil {
		t.Fatal(err)
	}
	progress := (&record.Progress{File: "log"}).Append(nil)
	for name, c := range map[string]struct {
		thing []byte
		want  error
	}{"a document of version 0": {first, record.ErrDamaged}, "what is no part of any call": {progress, record.ErrForm}, "nothing": {nil, record.ErrDamaged}} {
		body := append(binary.AppendUvarint([]byte{callVersion}, uint64(len(c.thing))), c.thing...)
		if got, err := decode(body); !errors.Is(err, c.want) {
			t.Errorf("%s is %+v, %v", name, got, err)
		}
	}
}

// What another machine says of itself that makes no sense is not heard: it counts as a machine
// neither more nor less for it, and nobody gives up a lease for its sake.
func TestWhatMakesNoSenseInTheRoster(t *testing.T) {
	now := time.Unix(0, 0)
	for _, text := range []string{"", "-1", "-9223372036854775808", "9223372036854775808", "1.5", " 1", "one", "1\n", "\x00"} {
		r := &Roster{key: "me", shares: 4, mine: 2, others: map[string]sight{}, yielded: now.Add(-time.Hour)}
		r.see("other", true, text, now)
		if machines, least := r.count(now); machines != 1 || least != 4 || r.yields(now) {
			t.Errorf("of %q it makes %d machines, of which one has %d leases", text, machines, least)
		}
		r.see("other", true, "1", now)
		r.see("other", true, text, now) // and is not taken for what it said before
		if machines, _ := r.count(now); machines != 1 {
			t.Errorf("after %q it counts %d machines", text, machines)
		}
	}
	r := &Roster{key: "me", shares: 4, others: map[string]sight{}}
	r.see("me", true, "3", now)
	r.see("other", true, "1", now)
	r.see("third", true, "1", now.Add(-presentFor-1))
	if machines, least := r.count(now); machines != 2 || least != 1 {
		t.Errorf("with itself, and one that was not heard for too long, it counts %d machines, of which one has %d leases", machines, least)
	}
	r.see("other", false, "", now)
	if machines, _ := r.count(now); machines != 1 {
		t.Errorf("when the other has gone it counts %d machines", machines)
	}
}
