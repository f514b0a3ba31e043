package mqtt

import (
	"bytes"
	"fmt"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"weald/ingest/mqtt/mosquitto"
	"weald/ingest/processor"
)

// BenchmarkWard measures the processor time of 200 bridges at 10 frames a
// second each behind one broker; the one publisher's is in it, the broker's is
// not.
func BenchmarkWard(b *testing.B) {
	const bridges, rate = 200, 10
	frame := bytes.Repeat([]byte{0x5a}, 3094)
	for name, v := range map[string]Version{"5": V5, "3.1.1": V311} {
		b.Run(name, func(b *testing.B) {
			m := mosquitto.Start(b, mosquitto.Options{Extra: "max_queued_messages 0\n"})
			p := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + m.Address).SetClientID("gateway").SetProtocolVersion(4))
			if t := p.Connect(); !t.WaitTimeout(soon) || t.Error() != nil {
				b.Fatal(t.Error())
			}
			defer p.Disconnect(100)
			var readers sync.WaitGroup
			for i := range bridges {
				c, err := (&Link{Broker: m.Address, Bridge: fmt.Sprint("hub-", i), Version: v}).Open(b.Context())
				if err != nil {
					b.Fatal(err)
				}
				defer c.Close()
				readers.Go(func() {
					buf := make([]byte, 64<<10)
					for range b.N {
						if n, err := c.Read(buf); err != nil || n != len(frame) {
							b.Errorf("read %d bytes, %v", n, err)
							return
						}
					}
				})
			}
			before := processor.Used(b)
			b.ResetTimer()
			tick := time.NewTicker(time.Second / rate)
			defer tick.Stop()
			for range b.N {
				<-tick.C
				for i := range bridges {
					p.Publish(fmt.Sprint("weald/hub-", i, "/frames"), 1, false, frame)
				}
			}
			readers.Wait()
			b.ReportMetric((processor.Used(b)-before).Seconds()/b.Elapsed().Seconds(), "cores")
			b.ReportMetric(float64(bridges*b.N)/b.Elapsed().Seconds(), "frames/s")
		})
	}
}
