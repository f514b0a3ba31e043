package broker

import (
	"bytes"
	"fmt"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"weald/ingest/processor"
)

// frame is of the size of a mat's: 2,048 cells at 12 bits, packed.
var frame = bytes.Repeat([]byte{0x5a}, 3094)

// BenchmarkLink measures what one bridge's client can deliver, each frame
// acknowledged when it is safe. Both ends and the sender share the machine.
func BenchmarkLink(b *testing.B) {
	for _, qos := range []byte{0, 1} {
		b.Run(fmt.Sprint("QoS", qos), func(b *testing.B) {
			broker, _ := start(b, Options{Accounts: accounts(b, "hub")})
			p := client(b, broker, "hub", nil)
			c := open(b, broker, "hub")
			b.SetBytes(int64(len(frame)))
			b.ResetTimer()
			go send(p, "hub", qos, b.N)
			read(b, c, b.N)
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "frames/s")
		})
	}
}

// BenchmarkWard measures the processor time of 200 bridges at 10 frames a
// second each, senders included.
func BenchmarkWard(b *testing.B) {
	const bridges, rate = 200, 10
	var ids []string
	for i := range bridges {
		ids = append(ids, fmt.Sprint("hub-", i))
	}
	broker, _ := start(b, Options{Accounts: accounts(b, ids...)})
	var all sync.WaitGroup
	before := processor.Used(b)
	b.ResetTimer()
	for _, id := range ids {
		p := client(b, broker, id, nil)
		c := open(b, broker, id)
		all.Go(func() {
			tick := time.NewTicker(time.Second / rate)
			defer tick.Stop()
			for range b.N {
				<-tick.C
				p.Publish(topic(id), 1, false, frame)
			}
		})
		all.Go(func() { read(b, c, b.N) })
	}
	all.Wait()
	b.ReportMetric((processor.Used(b)-before).Seconds()/b.Elapsed().Seconds(), "cores")
	b.ReportMetric(float64(bridges*b.N)/b.Elapsed().Seconds(), "frames/s")
}

func send(p paho.Client, bridge string, qos byte, n int) {
	for range n {
		p.Publish(topic(bridge), qos, false, frame)
	}
}

func read(b *testing.B, c interface{ Read([]byte) (int, error) }, n int) {
	p := make([]byte, 64<<10)
	for range n {
		if m, err := c.Read(p); err != nil || m != len(frame) {
			b.Errorf("read %d bytes, %v", m, err)
			return
		}
	}
}
