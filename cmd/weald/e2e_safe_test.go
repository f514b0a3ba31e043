package main

import (
	"fmt"
	"math"
	"net"
	"path/filepath"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"

	"weald/ingest/frame"
	"weald/ingest/mqtt/mosquitto"
	"weald/ingest/tcp/wire/wiretest"
	"weald/stream/record"
)

// scansKept gives each scan of a source that is in the record.
func scansKept(t *testing.T, dir, source string, each func(*record.Scan)) {
	t.Helper()
	store, done := recordIn(t, dir)
	defer done()
	for in, err := range store.Inputs(t.Context(), 1, math.MaxUint64) {
		must(t, err)
		if in.Scan != nil && in.Source == source {
			each(in.Scan)
		}
	}
}

// seqsKept counts how often each sequence number of a source is in the record.
func seqsKept(t *testing.T, dir, source string) map[uint32]int {
	t.Helper()
	kept := map[uint32]int{}
	scansKept(t, dir, source, func(s *record.Scan) { kept[s.Seq]++ })
	return kept
}

func legFrame(seq uint32) *frame.Frame {
	return &frame.Frame{Kind: frame.Readings, Source: 1, Seq: seq, Millis: seq * 100, Readings: []float64{40, 42}}
}

// A daemon that is killed the moment after it acknowledged a frame has the frame
// in its record: a gateway does not send again what was acknowledged. What it
// does send again, for want of an acknowledgement that the kill has swallowed,
// counts once, by a daemon that was not there when it came first.
func TestWhatWasAcknowledgedIsInTheRecord(t *testing.T) {
	t.Parallel()
	port := wiretest.Vacant(t)
	name := write(t, "ward.yaml", "data: record\n"+fmt.Sprintf(wardConfig, port))
	secrets(t, name, "hub-a", "hub-b")
	dir := filepath.Join(filepath.Dir(name), "record")
	v := launch(t, name)
	reachable(t, port)
	a := newPublisher(t, port, "hub-a", "hub-a", "hub-a-secret")
	const frames, again = 25, 10
	for i := range uint32(frames) {
		a.send(legFrame(i))
		time.Sleep(20 * time.Millisecond)
	}
	v.kill()
	kept := seqsKept(t, dir, "hub-a/leg")
	for i := range uint32(frames) {
		if kept[i] != 1 {
			t.Errorf("frame %d was acknowledged and is in the record %d times", i, kept[i])
		}
	}

	v = launch(t, name)
	reachable(t, port)
	a = newPublisher(t, port, "hub-a", "hub-a", "hub-a-secret")
	for i := uint32(frames - again); i < frames+5; i++ {
		a.send(legFrame(i))
	}
	eventually(t, longEnough, counted(t, v.address, map[string]float64{
		`weald_frames_total{bridge="hub-a"}`:              again + 5,
		`weald_scans_total{source="hub-a/leg"}`:           5,
		`weald_repeated_frames_total{source="hub-a/leg"}`: again,
		`weald_gap_scans_total{source="hub-a/leg"}`:       0,
	}))
	v.end()
	kept = seqsKept(t, dir, "hub-a/leg")
	for i := range uint32(frames + 5) {
		if kept[i] != 1 {
			t.Errorf("frame %d is in the record %d times", i, kept[i])
		}
	}
}

// While weald is dead, its site's broker keeps for it what a device goes on to
// send. It comes in a burst, and yet every frame is judged at the time at which
// it was measured, and once.
func TestWhatABrokerKeepsHasItsOwnTime(t *testing.T) {
	t.Parallel()
	site := mosquitto.Start(t, mosquitto.Options{})
	link := fmt.Sprintf("mqtt: {broker: %q}", site.Address)
	name := write(t, "hub.yaml", "data: record\n"+fmt.Sprintf(hubConfig, "", link, "packed"))
	dir := filepath.Join(filepath.Dir(name), "record")
	gateway := newPublisher(t, site.Address, "hub", "", "")
	began := time.Now()
	seq := uint32(0)
	send := func(lasting time.Duration) {
		for until := time.Now().Add(lasting); time.Now().Before(until); seq++ {
			gateway.send(&frame.Frame{Kind: frame.Readings, Source: 1, Seq: seq, Millis: uint32(time.Since(began).Milliseconds()), Readings: []float64{40, 42}})
			time.Sleep(50 * time.Millisecond)
		}
	}
	v := launch(t, name)
	eventually(t, longEnough, counted(t, v.address, map[string]float64{`weald_bridge_open{bridge="hub"}`: 1}))
	send(2 * time.Second)
	v.kill()
	before := len(seqsKept(t, dir, "hub/leg"))
	send(3 * time.Second)
	v = launch(t, name)
	send(time.Second)
	last := seq
	eventually(t, longEnough, counted(t, v.address, map[string]float64{
		`weald_scans_total{source="hub/leg"}`:     float64(int(last) - before),
		`weald_gap_scans_total{source="hub/leg"}`: 0,
	}))
	v.end()
	kept := map[uint32]int{}
	scansKept(t, dir, "hub/leg", func(s *record.Scan) {
		kept[s.Seq]++
		measured := began.Add(time.Duration(s.Millis) * time.Millisecond)
		if off := s.At.Time().Sub(measured); off.Abs() > time.Second {
			t.Errorf("frame %d is at %v off the time at which it was measured, and came %v after it", s.Seq, off, s.Arrived.Sub(s.At))
		}
	})
	for i := range last {
		if kept[i] != 1 {
			t.Errorf("frame %d is in the record %d times", i, kept[i])
		}
	}
}

// A sender is a gateway that marks what it sends for the second time, as MQTT asks of it.
type sender struct {
	t     *testing.T
	conn  net.Conn
	topic string
}

func newSender(t *testing.T, broker, bridge string) *sender {
	t.Helper()
	conn, err := net.Dial("tcp", broker)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	s := &sender{t, conn, "weald/" + bridge + "/frames"}
	hello := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	hello.ProtocolName, hello.ProtocolVersion, hello.ClientIdentifier, hello.CleanSession = "MQTT", 4, "sender", true
	hello.UsernameFlag, hello.Username, hello.PasswordFlag, hello.Password = true, bridge, true, []byte(bridge+"-secret")
	if ack, ok := s.ask(hello).(*packets.ConnackPacket); !ok || ack.ReturnCode != packets.Accepted {
		t.Fatalf("it is let in with %v", ack)
	}
	return s
}

// ask sends a packet and returns the answer.
func (s *sender) ask(p packets.ControlPacket) packets.ControlPacket {
	s.t.Helper()
	_ = s.conn.SetDeadline(time.Now().Add(20 * time.Second))
	if err := p.Write(s.conn); err != nil {
		s.t.Fatal(err)
	}
	answer, err := packets.ReadPacket(s.conn)
	if err != nil {
		s.t.Fatal(err)
	}
	return answer
}

func (s *sender) send(f *frame.Frame, again bool) {
	s.t.Helper()
	p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	p.TopicName, p.Qos, p.Dup, p.MessageID = s.topic, 1, again, uint16(f.Seq)+1
	var err error
	if p.Payload, err = frame.AppendPacked(nil, f, frame.U16); err != nil {
		s.t.Fatal(err)
	}
	if _, ok := s.ask(p).(*packets.PubackPacket); !ok {
		s.t.Fatal("it was not acknowledged")
	}
}

// Acknowledgements of more frames than a source has in its sequence are lost, and then the
// daemon is killed. A gateway sends them all again, and says so; the device has started
// again meanwhile. Each is in the record once.
func TestWhatIsSentAgainIsInTheRecordOnce(t *testing.T) {
	t.Parallel()
	port := wiretest.Vacant(t)
	name := write(t, "ward.yaml", "data: record\n"+fmt.Sprintf(wardConfig, port))
	secrets(t, name, "hub-a", "hub-b")
	const frames, reboot, more = 600, 320, 20
	began, booted := time.Now(), time.Now()
	var sent []*frame.Frame
	next := func() *frame.Frame {
		seq := len(sent)
		if seq == reboot {
			booted = time.Now().Add(-time.Second)
		}
		if seq >= reboot {
			seq -= reboot
		}
		f := legFrame(uint32(seq))
		f.Millis = uint32(time.Since(booted).Milliseconds())
		sent = append(sent, f)
		return f
	}
	v := launch(t, name)
	reachable(t, port)
	a := newSender(t, port, "hub-a")
	for range frames {
		a.send(next(), false)
	}
	took := time.Since(began)
	v.kill()
	v = launch(t, name)
	reachable(t, port)
	a = newSender(t, port, "hub-a")
	for _, f := range sent {
		a.send(f, true)
	}
	for range more {
		a.send(next(), false)
	}
	eventually(t, longEnough, counted(t, v.address, map[string]float64{
		`weald_message_duplicates_total{bridge="hub-a"}`:  frames,
		`weald_scans_total{source="hub-a/leg"}`:           more,
		`weald_repeated_frames_total{source="hub-a/leg"}`: frames,
		`weald_gap_scans_total{source="hub-a/leg"}`:       0,
	}))
	v.end()
	t.Logf("%d frames were sent in %v", frames, took)
	kept := seqsKept(t, filepath.Join(filepath.Dir(name), "record"), "hub-a/leg")
	for i := range uint32(reboot) {
		want := 1
		if i < frames+more-reboot {
			want = 2 // of either boot
		}
		if kept[i] != want {
			t.Errorf("frames with the number %d are in the record %d times, want %d", i, kept[i], want)
		}
	}
}
