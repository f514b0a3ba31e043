package replicated

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// written is a record in the bytes that its things are kept in.
func written(t testing.TB, j journal.Journal) []byte {
	t.Helper()
	var all []byte
	var err error
	add := func(encode func([]byte) ([]byte, error)) {
		if all, err = encode(all); err != nil {
			t.Fatal(err)
		}
	}
	ctx := context.Background()
	for _, e := range journaltest.Gather(t, j.Entries(ctx, journal.Query{})) {
		add(e.Append)
	}
	for _, b := range journaltest.Gather(t, j.Readings(ctx, "hub/mat", 0, 1<<62)) {
		add(b.Append)
	}
	for _, in := range journaltest.Gather(t, j.Inputs(ctx, 0, 1<<62)) {
		all = fmt.Append(all, in.Ord, in.Source)
	}
	for _, d := range journaltest.Gather(t, j.Documents(ctx, "")) {
		add(d.Append)
	}
	return all
}

var troubles = flag.Uint64("troubles", 1, "in how many ways servers and callers go wrong while two machines write")

// Two machines write through servers that lose messages, keep some without a word, send some twice or
// not at all, while callers lose their patience and make their calls again; of one the files are
// left as a power cut would leave them, twice. Then each call that was told to be kept is there
// once, one that was refused is not, and one that nobody waited for to the end is there once or
// not; and both machines, one that begins with what was left and one that begins with nothing have the
// same, byte for byte.
func TestEqualLogsAreEqualRecords(t *testing.T) {
	for seed := range *troubles {
		dirs := []string{t.TempDir(), t.TempDir()}
		left := t.TempDir()
		synctest.Test(t, func(t *testing.T) {
			s := newServers()
			trouble := rand.New(rand.NewPCG(seed, 1)) // under the lock of s
			s.sent = func(label) fate { return fate{trouble.IntN(4) > 0, trouble.IntN(3) > 0} }
			s.asked = func(uint64) int { return [...]int{1, 1, 1, 1, 2, -1}[trouble.IntN(6)] }
			machines := []*follower{alone(t, dirs[0]).with(s, "a"), alone(t, dirs[1]).with(s, "b")}
			var mu sync.Mutex
			told := map[string]bool{} // by text: kept, or refused; none for given up
			var ord, version atomic.Uint64
			var writing sync.WaitGroup
			for i, f := range machines {
				chance := rand.New(rand.NewPCG(seed, uint64(10+i)))
				writing.Go(func() {
					for n := range 20 {
						text, kind, block := fmt.Sprintf("%d-%d", i, n), chance.IntN(4), record.Block{}
						if kind == 1 {
							block = journaltest.Block("hub/mat", ord.Add(4)-3, 1, 3, noon)
						}
						d := record.Document{Name: text, Body: []byte(text)}
						if kind == 2 {
							d.Name, d.Version = "both", version.Load()
						}
						for range 1 + chance.IntN(8) {
							ctx, stop := context.WithTimeout(t.Context(), time.Duration(chance.IntN(6000))*time.Millisecond)
							var err error
							switch kind {
							case 0:
								_, err = f.Append(ctx, journaltest.Mark(text))
							case 1:
								err = f.AppendReadings(ctx, []record.Block{block}, nil)
								text = fmt.Sprint("block ", block.Scans[0].Ord)
							case 2:
								if _, err = f.PutDocument(ctx, d); err == nil {
									version.Store(d.Version + 1)
								}
							case 3:
								_, err = f.PutDocument(ctx, d)
							}
							stop()
							if refused := errors.Is(err, journal.ErrOrder) || errors.Is(err, journal.ErrConflict); err == nil || refused {
								mu.Lock()
								if told[text] = !refused; kind == 2 {
									delete(told, text) // its version says it
								}
								mu.Unlock()
								break
							} else if !errors.Is(err, context.DeadlineExceeded) {
								t.Errorf("%s is told %v", text, err)
							}
						}
						if i == 0 && n%8 == 7 {
							if err := os.CopyFS(filepath.Join(left, fmt.Sprint(n)), os.DirFS(dirs[0])); err != nil {
								t.Error(err)
							}
						}
					}
				})
			}
			writing.Wait()
			s.mu.Lock()
			s.sent, s.asked = nil, nil
			last := uint64(len(s.messages))
			s.mu.Unlock()
			machines = append(machines, alone(t, t.TempDir()).with(s, "new"))
			for _, n := range []int{7, 15} {
				machines = append(machines, alone(t, filepath.Join(left, fmt.Sprint(n))).with(s, "left"))
			}
			for _, f := range machines {
				for f.dealt.Load() < last {
					time.Sleep(time.Second)
				}
			}
			have := map[string]int{}
			for _, e := range journaltest.Gather(t, machines[0].Entries(context.Background(), journal.Query{})) {
				have[e.Body.(record.Mark).Text]++
			}
			for _, b := range journaltest.Gather(t, machines[0].Readings(context.Background(), "hub/mat", 0, 1<<62)) {
				have[fmt.Sprint("block ", b.Scans[0].Ord)]++
			}
			for _, d := range journaltest.Gather(t, machines[0].Documents(context.Background(), "")) {
				have[d.Name]++
				if d.Name == "both" && d.Version < version.Load() {
					t.Errorf("of the document of both there is version %d, and %d was told", d.Version, version.Load())
				}
			}
			for text, kept := range told {
				if n := have[text]; kept && n != 1 || !kept && n != 0 {
					t.Errorf("seed %d: %s was told kept: %v, and is there %d times", seed, text, kept, n)
				}
			}
			want := written(t, machines[0])
			for i, f := range machines {
				if got := written(t, f); !bytes.Equal(got, want) {
					t.Errorf("seed %d: machine %d has another record, of %d bytes and not %d", seed, i, len(got), len(want))
				}
				journaltest.Sound(t, f)
				f.end(journal.ErrClosed)
				<-f.done
				f.store.Close()
			}
		})
	}
}
