package tcp

import (
	"io"
	"sync"
	"syscall"
	"testing"
	"time"
)

// BenchmarkRead measures what one link carries: frames of 3 KB, as a mat of
// 2,048 cells at 12 bits sends them.
func BenchmarkRead(b *testing.B) {
	const frame = 3094
	address, peers := bridge(b)
	c, err := (&Dial{Address: address}).Open(b.Context())
	if err != nil {
		b.Fatal(err)
	}
	defer c.Close()
	peer := <-peers
	b.SetBytes(frame)
	go func() {
		p := make([]byte, frame)
		for range b.N {
			if _, err := peer.Write(p); err != nil {
				return
			}
		}
	}()
	buf := make([]byte, 64<<10)
	b.ResetTimer()
	for left := b.N * frame; left > 0; {
		n, err := c.Read(buf)
		if err != nil {
			b.Fatal(err)
		}
		left -= n
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "frames/s")
}

// BenchmarkWard measures the processor time of 200 bridges at 10 frames a
// second each, senders included.
func BenchmarkWard(b *testing.B) {
	const bridges, rate, frame = 200, 10, 3094
	var all sync.WaitGroup
	before := cpu(b)
	b.ResetTimer()
	for range bridges {
		address, peers := bridge(b)
		c, err := (&Dial{Address: address}).Open(b.Context())
		if err != nil {
			b.Fatal(err)
		}
		defer c.Close()
		peer := <-peers
		all.Go(func() {
			tick := time.NewTicker(time.Second / rate)
			defer tick.Stop()
			p := make([]byte, frame)
			for range b.N {
				<-tick.C
				if _, err := peer.Write(p); err != nil {
					return
				}
			}
		})
		all.Go(func() {
			if _, err := io.CopyN(io.Discard, c, int64(b.N)*frame); err != nil {
				b.Error(err)
			}
		})
	}
	all.Wait()
	b.ReportMetric((cpu(b)-before).Seconds()/b.Elapsed().Seconds(), "cores")
	b.ReportMetric(float64(bridges*b.N)/b.Elapsed().Seconds(), "frames/s")
}

// cpu is the processor time of this program so far.
func cpu(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
