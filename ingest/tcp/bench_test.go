package tcp

import (
	"io"
	"sync"
	"testing"
	"time"

	"weald/ingest/processor"
)

// BenchmarkRead measures what one link carries: frames of 3 KB, as a mat of
// 2,048 cells at 12 bits sends them.
func BenchmarkRead(b *testing.B) {
	const frame = 3094
	address, peers := bridge(b)
	c, peer := openDial(b, &Dial{Address: address}), <-peers
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
	before := processor.Used(b)
	b.ResetTimer()
	for range bridges {
		address, peers := bridge(b)
		c, peer := openDial(b, &Dial{Address: address}), <-peers
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
	b.ReportMetric((processor.Used(b)-before).Seconds()/b.Elapsed().Seconds(), "cores")
	b.ReportMetric(float64(bridges*b.N)/b.Elapsed().Seconds(), "frames/s")
}
