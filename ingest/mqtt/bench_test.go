package mqtt

import (
	"bytes"
	"testing"

	paho "github.com/eclipse/paho.mqtt.golang"

	"weald/ingest/mqtt/mosquitto"
)

// BenchmarkLink measures what comes through a mosquitto with its usual limit of
// 20 messages ahead of acknowledgements: frames of 3 KB, as of a mat of 2,048
// cells at 12 bits. Publisher, broker and reader share the machine.
func BenchmarkLink(b *testing.B) {
	frame := bytes.Repeat([]byte{0x5a}, 3094)
	for _, c := range []struct {
		version Version
		name    string
		extra   string
	}{
		{V5, "5", ""},
		{V311, "3.1.1", ""},
		{V5, "5-256-ahead", "max_inflight_messages 256\n"},
		{V311, "3.1.1-256-ahead", "max_inflight_messages 256\n"},
	} {
		b.Run(c.name, func(b *testing.B) {
			m := mosquitto.Start(b, mosquitto.Options{Extra: c.extra + "max_queued_messages 0\n"})
			conn, err := (&Link{Broker: m.Address, Bridge: "hub", Version: c.version}).Open(b.Context())
			if err != nil {
				b.Fatal(err)
			}
			defer conn.Close()
			p := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + m.Address).SetClientID("gateway").SetProtocolVersion(4))
			if t := p.Connect(); !t.WaitTimeout(soon) || t.Error() != nil {
				b.Fatal(t.Error())
			}
			defer p.Disconnect(100)
			b.SetBytes(int64(len(frame)))
			b.ResetTimer()
			go func() {
				for range b.N {
					p.Publish("weald/hub/frames", 1, false, frame)
				}
			}()
			buf := make([]byte, 64<<10)
			for range b.N {
				if n, err := conn.Read(buf); err != nil || n != len(frame) {
					b.Fatal(n, err)
				}
			}
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "frames/s")
		})
	}
}
