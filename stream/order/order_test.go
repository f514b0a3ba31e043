package order

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"testing/synctest"
)

// within runs a test with a desk that is being run, in a bubble in which waiting
// for others takes no time.
func within(t *testing.T, make Maker, f func(t *testing.T, d *Desk)) {
	folder := filepath.Join(t.TempDir(), "exports")
	synctest.Test(t, func(t *testing.T) {
		d := New(folder, make)
		ctx, stop := context.WithCancel(t.Context())
		var running sync.WaitGroup
		running.Go(func() { _ = d.Run(ctx) })
		f(t, d)
		stop()
		running.Wait()
		if _, err := os.Stat(folder); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("files stay: %v", err)
		}
	})
}

func TestAnOrderIsMadeAndFetched(t *testing.T) {
	within(t, func(_ context.Context, a Ask, folder string, tell func(float64)) ([]File, []string, error) {
		tell(0.5)
		return []File{{Name: "a.csv", Bytes: 4, Rows: 1}}, []string{"a block is lost"}, os.WriteFile(filepath.Join(folder, "a.csv"), []byte(a.Place), 0o600)
	}, func(t *testing.T, d *Desk) {
		o, err := d.Place(Ask{Place: "bed1", Format: "csv"})
		if err != nil || o.State != Waiting {
			t.Fatalf("%+v %v", o, err)
		}
		synctest.Wait()
		o, err = d.Get(o.ID)
		if err != nil || o.State != Made || o.Share != 1 || len(o.Files) != 1 || len(o.Notes) != 1 {
			t.Fatalf("%+v %v", o, err)
		}
		f, err := d.Open(o.ID, "a.csv")
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if b, _ := io.ReadAll(f); string(b) != "bed1" {
			t.Errorf("it holds %q", b)
		}
		for _, name := range []string{"", "b.csv", "../desk.go"} {
			if _, err := d.Open(o.ID, name); !errors.Is(err, ErrNone) {
				t.Errorf("%q: %v", name, err)
			}
		}
		if s, _ := d.Stop(o.ID); s.State != Made {
			t.Errorf("what is made was stopped: %+v", s)
		}
	})
}

func TestStoppingLeavesNothing(t *testing.T) {
	within(t, func(ctx context.Context, _ Ask, folder string, tell func(float64)) ([]File, []string, error) {
		tell(0.3)
		tell(0.2) // the next part begins, and what people see does not go back
		_ = os.WriteFile(filepath.Join(folder, "half"), nil, 0o600)
		<-ctx.Done()
		return nil, nil, context.Cause(ctx)
	}, func(t *testing.T, d *Desk) {
		one, _ := d.Place(Ask{})
		two, _ := d.Place(Ask{})
		synctest.Wait()
		if o, _ := d.Get(one.ID); o.State != Making || o.Share != 0.3 {
			t.Errorf("%+v", o)
		}
		if _, err := d.Open(one.ID, "half"); !errors.Is(err, ErrUnmade) {
			t.Errorf("half of it can be had: %v", err)
		}
		if o, _ := d.Stop(two.ID); o.State != Stopped {
			t.Errorf("one that waits: %+v", o)
		}
		if o, _ := d.Stop(one.ID); o.State != Stopped {
			t.Errorf("one that is made: %+v", o)
		}
		synctest.Wait()
		if left, _ := os.ReadDir(d.folder); len(left) > 0 {
			t.Errorf("left: %v", left)
		}
		if o, _ := d.Get(two.ID); o.State != Stopped {
			t.Errorf("it was begun all the same: %+v", o)
		}
		if _, err := d.Stop("x-none"); !errors.Is(err, ErrNone) {
			t.Errorf("%v", err)
		}
	})
}

func TestTheNewestAreHeld(t *testing.T) {
	gate := make(chan struct{})
	within(t, func(ctx context.Context, _ Ask, _ string, _ func(float64)) ([]File, []string, error) {
		<-gate
		return nil, nil, errors.New("nothing is known")
	}, func(t *testing.T, d *Desk) {
		gate = make(chan struct{}) // of the bubble
		var ids []string
		for range Held {
			o, err := d.Place(Ask{})
			if err != nil {
				t.Fatal(err)
			}
			ids = append(ids, o.ID)
		}
		if _, err := d.Place(Ask{}); !errors.Is(err, ErrMany) {
			t.Errorf("one more: %v", err)
		}
		close(gate)
		synctest.Wait()
		if o, _ := d.Get(ids[0]); o.State != Failed || o.Why != "nothing is known" {
			t.Errorf("%+v", o)
		}
		if _, err := d.Place(Ask{}); err != nil {
			t.Errorf("one more when they are done: %v", err)
		}
		if all := d.All(); len(all) != Held || all[Held-1].ID != ids[1] {
			t.Errorf("the oldest is still there")
		}
	})
}
