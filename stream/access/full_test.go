package access

import (
	"context"
	"errors"
	"fmt"
	"testing"

	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// A filling store has no room for one of its writings, the one with a number. Behind a log, which
// has it all the same, it keeps that later.
type filling struct {
	*journaltest.Memory
	fails  int // counts down
	logged bool
}

// room says whether the next writing is kept, and what it says of room.
func (f *filling) room() (bool, error) {
	if f.fails--; f.fails != 0 {
		return true, nil
	}
	if f.logged {
		return true, fmt.Errorf("%w; %w", journal.ErrFull, journal.ErrLater)
	}
	return false, journal.ErrFull
}

func (f *filling) Append(ctx context.Context, entries ...record.Entry) (p record.Position, err error) {
	keeps, full := f.room()
	if keeps {
		p, err = f.Memory.Append(ctx, entries...)
	}
	return p, errors.Join(err, full)
}

func (f *filling) PutDocument(ctx context.Context, d record.Document) (version uint64, err error) {
	keeps, full := f.room()
	if keeps {
		version, err = f.Memory.PutDocument(ctx, d)
	}
	if full != nil {
		version = 0
	}
	return version, errors.Join(err, full)
}

// What works after a change for which there was no room somewhere on its way is what works after a
// start: nobody who was removed is in, and nobody who was not is out, as soon as the record says so.
// A change that is refused is not done, and one that a log has is done, and can be changed again.
func TestAFullDiskHalvesNoChange(t *testing.T) {
	changes := map[string]func(*door, string) error{
		"remove":   func(d *door, _ string) error { return d.Remove(d.t.Context(), d.deed(), "kai") },
		"password": func(d *door, _ string) error { return d.SetPassword(d.t.Context(), d.deed(), "kai", annas) },
		"role":     func(d *door, _ string) error { return d.SetRole(d.t.Context(), d.deed(), "kai", Viewer) },
		"withdraw": func(d *door, id string) error { _, err := d.WithdrawPass(d.t.Context(), d.deed(), id); return err },
	}
	for what, change := range changes {
		for _, logged := range []bool{false, true} {
			for n, failed := 1, true; failed; n++ {
				d := newDoor(t)
				d.make("anna", Admin, annas)
				d.make("kai", Carer, others)
				in := d.in("kai", others)
				p, token, err := d.MakePass(t.Context(), d.deed(), Pass{Means: Token, Name: "export", Role: Viewer, Ends: d.now.Add(LongestToken)})
				if err != nil {
					t.Fatal(err)
				}
				works := func() string {
					kai := d.accounts["kai"]
					s := fmt.Sprint(d.ByToken(token, from("192.0.2.7", "").From, d.now).Role)
					if kai != nil {
						s += fmt.Sprint(" ", kai.Role, " ", kai.Password)
					}
					return s
				}
				before := works()
				f := &filling{Memory: d.j, fails: n, logged: logged}
				d.store = f
				err = change(d, p.ID)
				if failed = f.fails <= 0; failed != (err != nil) || errors.Is(err, journal.ErrLater) != (failed && logged) {
					t.Fatalf("%s, writing %d: %v", what, n, err)
				}
				now, session := works(), d.opens(in.Key)
				if logged && now == before || (what == "remove" || what == "password") && now != before && session != "" {
					t.Errorf("%s, writing %d of a log, %t: works %q as before, and the session of %q", what, n, logged, now, session)
				}
				if what == "role" && logged {
					f.fails = 0 // never again
					if err := d.SetRole(t.Context(), d.deed(), "kai", Engineer); err != nil {
						t.Errorf("another one after writing %d: %v", n, err)
					}
					now = works()
				}
				d.restart()
				if after := works(); after != now {
					t.Errorf("%s, writing %d, log %t, %v: works %q, and after a start %q", what, n, logged, err, now, after)
				}
			}
		}
	}
}
