package broker

import (
	"fmt"
	"net"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"weald/ingest/mqtt/internal/handovertest"
)

func TestALargeOrEmptyMessageIsDropped(t *testing.T) {
	b, _ := start(t, Options{Accounts: accounts(t, "hub")})
	p := client(t, b, "hub", nil)
	c := open(t, b, "hub")
	for _, text := range []string{"", strings.Repeat("x", 64<<10+1)} {
		if err := wait(p.Publish(topic("hub"), 1, false, text)); err != nil {
			t.Errorf("%d bytes: %v", len(text), err)
		}
	}
	p.Publish(topic("hub"), 1, true, strings.Repeat("y", 64<<10)) // "retain" changes nothing
	handovertest.Want(t, c, strings.Repeat("y", 64<<10))
	if n := b.Link("hub").Counts(); n != (Counts{Messages: 1, Oversized: 1, Empty: 1}) {
		t.Errorf("counted %+v", n)
	}
	p.Publish(topic("hub"), 1, false, strings.Repeat("z", maxPacket))
	if _, err := handovertest.Next(t, c); err == nil || !strings.HasSuffix(err.Error(), "sent a message of more than 65536 bytes") {
		t.Errorf("beyond all bounds: %v", err)
	}
}

func TestAClientGoesAway(t *testing.T) {
	b, _ := start(t, Options{Accounts: accounts(t, "hub")})
	var line net.Conn
	dial := func(o *paho.ClientOptions) { o.SetCustomOpenConnectionFn(dialer(b, &line)) }
	for _, c := range []struct {
		what string
		go_  func(paho.Client)
		want string
	}{
		{"with a farewell", func(p paho.Client) { p.Disconnect(100) }, " said goodbye"},
		{"cut off", func(paho.Client) { line.Close() }, " broke the connection off"},
		{"reset", func(paho.Client) { line.(*net.TCPConn).SetLinger(0); line.Close() }, " broke the connection off"},
		{"for another session", func(paho.Client) { client(t, b, "hub", dial).Disconnect(100) }, " said goodbye"},
	} {
		p := client(t, b, "hub", dial)
		conn := open(t, b, "hub")
		reading := handovertest.Begin(conn)
		c.go_(p)
		r := <-reading
		// Of two sessions that end at the same time, either may be the last.
		anew := c.what == "for another session" && r.Err != nil && strings.HasSuffix(r.Err.Error(), " connected anew")
		if r.Err == nil || !strings.HasSuffix(r.Err.Error(), c.want) && !anew {
			t.Errorf("%s: %v, want %q", c.what, r.Err, c.want)
		}
		conn.Close()
	}
}

func TestAClientThatFellSilent(t *testing.T) {
	b, _ := start(t, Options{Accounts: accounts(t, "hub")})
	mute := raw(t, b)
	// CONNECT with a keep-alive of one second, and then nothing.
	mute.Write([]byte("\x10\x1f\x00\x04MQTT\x04\xc2\x00\x01\x00\x02gw\x00\x03hub\x00\x0ahub-secret"))
	conn := open(t, b, "hub")
	r := <-handovertest.Begin(conn)
	if r.Err == nil || !strings.Contains(r.Err.Error(), " no longer answers") {
		t.Errorf("%v", r.Err)
	}
}

func TestTwoGatewaysOfOneBridge(t *testing.T) {
	b, _ := start(t, Options{Accounts: accounts(t, "hub")})
	one := client(t, b, "hub", func(o *paho.ClientOptions) { o.SetClientID("one") })
	c := open(t, b, "hub")
	two := client(t, b, "hub", func(o *paho.ClientOptions) { o.SetClientID("two") })
	one.Publish(topic("hub"), 1, false, "from one")
	handovertest.Want(t, c, "from one")
	two.Publish(topic("hub"), 1, false, "with both") // until then two may not have its seat yet
	handovertest.Want(t, c, "with both")
	one.Disconnect(100)
	two.Publish(topic("hub"), 1, false, "from two")
	handovertest.Want(t, c, "from two")
}

func TestTooManyClients(t *testing.T) {
	b, _ := start(t, Options{Accounts: accounts(t, "hub", "other"), MaxClients: 2})
	client(t, b, "hub", func(o *paho.ClientOptions) { o.SetClientID("one") })
	client(t, b, "hub", func(o *paho.ClientOptions) { o.SetClientID("two") })
	if said, err := try(t, b, "other", "x"); err == nil {
		t.Errorf("a third of two is let in: %q", said)
	}
}

func TestAFrameThatNobodyTakes(t *testing.T) {
	b, _ := start(t, Options{Accounts: accounts(t, "hub"), Patience: quiet})
	lost := make(chan struct{})
	p := client(t, b, "hub", func(o *paho.ClientOptions) {
		o.SetConnectionLostHandler(func(paho.Client, error) { close(lost) })
	})
	token := p.Publish(topic("hub"), 1, false, "one")
	select {
	case <-lost:
	case <-time.After(soon):
		t.Fatal("a client waits for ever")
	}
	if token.WaitTimeout(0) && token.Error() == nil {
		t.Error("acknowledged, though nobody took it")
	}
}

func TestAFloodSlowsNobodyElse(t *testing.T) {
	b, _ := start(t, Options{Accounts: accounts(t, "flooded", "calm")})
	var line net.Conn
	flood := client(t, b, "flooded", func(o *paho.ClientOptions) { o.SetCustomOpenConnectionFn(dialer(b, &line)) })
	calm := client(t, b, "calm", nil)
	open(t, b, "flooded") // and never read
	frame := strings.Repeat("x", 60<<10)
	quit := make(chan struct{})
	var flooding sync.WaitGroup
	flooding.Go(func() {
		for {
			select {
			case <-quit:
				return
			default:
				flood.Publish(topic("flooded"), 0, false, frame).WaitTimeout(10 * time.Millisecond)
			}
		}
	})
	c := open(t, b, "calm")
	began := time.Now()
	for i := range 200 {
		text := fmt.Sprint(i)
		calm.Publish(topic("calm"), 1, false, text)
		handovertest.Want(t, c, text)
	}
	if d := time.Since(began); d > 2*time.Second {
		t.Errorf("200 frames beside a flood took %v", d)
	}
	// Of the flood, one frame is held here; the rest is the sender's trouble.
	if n := b.Link("flooded").Counts(); n.Messages != 1 {
		t.Errorf("%d messages of a bridge that nobody reads were let in, want one", n.Messages)
	}
	close(quit)
	line.Close() // it is stuck in the midst of a frame
	flooding.Wait()
}

func TestOrderIsKept(t *testing.T) {
	b, _ := start(t, Options{Accounts: accounts(t, "hub")})
	p := client(t, b, "hub", nil)
	c := open(t, b, "hub")
	var sent []string
	for i := range 500 {
		sent = append(sent, fmt.Sprint(i))
	}
	go func() {
		var last paho.Token
		for _, text := range sent {
			last = p.Publish(topic("hub"), 1, false, text)
		}
		wait(last)
		p.Disconnect(100)
	}()
	got, err := drain(c)
	if !slices.Equal(got, sent) {
		t.Errorf("%d frames came, then %v; want the %d in order", len(got), err, len(sent))
	}
}
