package replicated

import (
	"strconv"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// Machines that come and go at random, in a time that is made up: each share that is free
// is taken within two seconds, whoever is there ends up with as many as the others, give
// or take one, and then nothing changes hands any more.
func TestSharesAreSpreadEvenly(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		w := &crowd{shares: rapid.IntRange(1, 9).Draw(t, "shares"), holder: map[int]*Roster{}, free: map[int]time.Time{}, now: time.Unix(0, 0)}
		for s := range w.shares {
			w.free[s] = w.now
		}
		w.join()
		for range rapid.IntRange(0, 8).Draw(t, "changes") {
			switch {
			case len(w.machines) > 1 && rapid.Bool().Draw(t, "one is killed"):
				w.kill(rapid.IntRange(0, len(w.machines)-1).Draw(t, "which"))
			case len(w.machines) < 5:
				w.join()
			}
			w.pass(t, rapid.IntRange(1, 20).Draw(t, "half seconds"))
		}
		w.pass(t, 20*w.shares) // one every three seconds
		least, most := w.shares, 0
		for _, r := range w.machines {
			least, most = min(least, r.mine), max(most, r.mine)
		}
		if most-least > 1 || len(w.holder) != w.shares {
			t.Fatalf("of %d shares %d are held, by %d machines of which one has %d and one %d", w.shares, len(w.holder), len(w.machines), least, most)
		}
		w.moved = 0
		if w.pass(t, 20); w.moved > 0 {
			t.Fatalf("%d shares changed hands with nothing to gain", w.moved)
		}
	})
}

// A crowd is some machines and the leases of their shares, as servers would have them.
type crowd struct {
	shares   int
	machines []*Roster
	holder   map[int]*Roster // by share
	free     map[int]time.Time
	dead     map[*Roster]time.Time // whose leases run out then
	now      time.Time
	made     int
	moved    int
}

func (w *crowd) join() {
	w.made++
	w.machines = append(w.machines, &Roster{key: strconv.Itoa(w.made), shares: w.shares, poke: make(chan struct{}, 1), others: map[string]sight{}})
}

func (w *crowd) kill(i int) {
	if w.dead == nil {
		w.dead = map[*Roster]time.Time{}
	}
	w.dead[w.machines[i]] = w.now.Add(leaseFor)
	w.machines = append(w.machines[:i], w.machines[i+1:]...)
}

// pass lets half seconds pass: in each every machine says how many it has, tries what is
// free, and parts with one where it should.
func (w *crowd) pass(t *rapid.T, halves int) {
	for range halves {
		w.now = w.now.Add(tryEvery)
		for s, r := range w.holder {
			if over, dead := w.dead[r]; dead && !w.now.Before(over) {
				delete(w.holder, s)
				w.free[s] = w.now
			}
		}
		for _, from := range w.machines {
			for _, to := range w.machines {
				to.see(from.key, true, strconv.Itoa(from.mine), w.now)
			}
		}
		for _, r := range rapid.Permutation(w.machines).Draw(t, "order") {
			for s := range w.shares {
				since, free := w.free[s]
				waited := w.now.Sub(since)
				if !free {
					waited = 0
				}
				if waited >= 2*time.Second {
					t.Fatalf("share %d of %d has been free for %v", s, w.shares, waited)
				}
				if r.try(waited, w.now) {
					if r.tried(free); free {
						w.holder[s] = r
						delete(w.free, s)
						w.moved++
					}
				}
			}
			if r.yields(w.now) {
				for s := range w.shares {
					if w.holder[s] == r {
						delete(w.holder, s)
						w.free[s] = w.now
						r.gone()
						break
					}
				}
			}
		}
	}
}

// Four shares of three machines at two, two and none: the one that yields tries what it has
// yielded before anybody else can, and leaves it to the one that has none.
func TestWhoYieldsDoesNotTakeItBack(t *testing.T) {
	t.Parallel()
	w := &crowd{shares: 4, now: time.Unix(0, 0)}
	for range 3 {
		w.join()
	}
	r := w.machines[0]
	r.mine = 2
	r.see("2", true, "2", w.now)
	r.see("3", true, "0", w.now)
	if !r.yields(w.now) {
		t.Fatal("one that has two more than another does not yield")
	}
	r.gone()
	if r.try(0, w.now) {
		t.Error("it takes back at once what it has yielded")
	}
	if !r.try(freeFor, w.now.Add(freeFor)) {
		t.Error("it leaves for ever what nobody wants")
	}
}
