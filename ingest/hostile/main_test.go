package hostile

import (
	"flag"
	"fmt"
	"os"
	"runtime"
	"testing"
	"time"

	"weald/ingest/raced"
)

var megabytes = flag.Float64("hostile.mb", 4, "megabytes of each kind of hostile bytes for each decoder")

func TestMain(m *testing.M) {
	if job := os.Getenv(senderJob); job != "" {
		if err := send(job); err != nil {
			fmt.Fprintln(os.Stderr, "senders:", err)
			os.Exit(1)
		}
		return
	}
	os.Exit(m.Run())
}

// amount is how many bytes a test feeds; an eighth of it where the race detector
// watches, since all of it is fed without.
func amount() int {
	if raced.Watched {
		return int(*megabytes * 1e6 / 8)
	}
	return int(*megabytes * 1e6)
}

// heap is how much memory is in use, garbage apart.
func heap() int64 {
	var s runtime.MemStats
	runtime.GC()
	runtime.GC() // what a finalizer let go of
	runtime.ReadMemStats(&s)
	return int64(s.HeapAlloc)
}

// eventually tries f until it returns nil.
func eventually(t testing.TB, within time.Duration, f func() error) {
	t.Helper()
	for end := time.Now().Add(within); ; time.Sleep(5 * time.Millisecond) {
		err := f()
		if err == nil {
			return
		}
		if time.Now().After(end) {
			t.Fatalf("after %v still: %v", within, err)
		}
	}
}
