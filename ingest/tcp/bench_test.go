package tcp

import (
	"testing"
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
