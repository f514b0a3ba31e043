package broker

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"weald/ingest/mqtt"
	"weald/ingest/mqtt/internal/handovertest"
	"weald/ingest/mqtt/mosquitto"
	"weald/ingest/tcp/wire"
	"weald/ingest/tcp/wire/wiretest"
)

func TestAnOutsideClientPublishes(t *testing.T) {
	b, _ := start(t, Options{Accounts: accounts(t, "hub")})
	all := make([]byte, 3094)
	for i := range all {
		all[i] = byte(i)
	}
	for version, args := range versions {
		for _, qos := range []string{"0", "1", "2"} {
			args := append(append([]string{}, args...), "-q", qos)
			said := make(chan string, 1)
			go func() { s, _ := try(t, b, "hub", string(all), args...); said <- s }()
			c := open(t, b, "hub")
			handovertest.Want(t, c, string(all))
			// It says goodbye after the acknowledgement, which takes this read.
			_, err := handovertest.Next(t, c)
			if err == nil || !strings.HasSuffix(err.Error(), " said goodbye") {
				t.Errorf("version %s, QoS %s: then %v", version, qos, err)
			}
			if s := <-said; s != "" {
				t.Errorf("version %s, QoS %s: the client says %q", version, qos, s)
			}
			c.Close()
		}
	}
}

func TestNothingIsAcknowledgedBeforeItIsSafe(t *testing.T) {
	b, _ := start(t, Options{Accounts: accounts(t, "hub")})
	lost := make(chan struct{})
	store := paho.NewMemoryStore()
	keep := func(o *paho.ClientOptions) {
		o.SetStore(kept{store}).SetConnectionLostHandler(func(paho.Client, error) { close(lost) })
	}
	p := client(t, b, "hub", keep)
	c := open(t, b, "hub")
	token := p.Publish(topic("hub"), 1, false, "one")
	handovertest.Want(t, c, "one")
	if token.WaitTimeout(quiet) {
		t.Fatal("acknowledged while it is in the reader's hands")
	}
	c.Close() // as a daemon does that ends in the midst of it
	select {
	case <-lost:
	case <-time.After(soon):
		t.Fatal("a client whose frame was not taken is kept waiting")
	}

	// The same client connects anew and sends what was not acknowledged.
	p = client(t, b, "hub", func(o *paho.ClientOptions) { o.SetStore(kept{store}) })
	c = open(t, b, "hub")
	handovertest.Want(t, c, "one")
	again := func() bool { return c.(interface{ Again() bool }).Again() }
	if !again() {
		t.Error("that a frame came before is not told")
	}
	token = p.Publish(topic("hub"), 1, false, "two")
	handovertest.Want(t, c, "two") // and so "one" is safe
	if again() {
		t.Error("a new frame is said to have come before")
	}
	asked := handovertest.Begin(c)
	if err := wait(token); err != nil {
		t.Errorf("asked for the next one, and yet: %v", err)
	}
	c.Close()
	<-asked
	if n := b.Link("hub").Counts(); n.Messages != 3 || n.Duplicates != 1 {
		t.Errorf("counted %+v, want 3 messages of which 1 duplicate", n)
	}
}

// kept is a store that outlives its client, as a file does.
type kept struct{ *paho.MemoryStore }

func (kept) Close() {}
func (k kept) Open() {
	if k.All() == nil {
		k.MemoryStore.Open()
	}
}

func TestWhoMayNotComeIn(t *testing.T) {
	all := accounts(t, "hub", "other")
	b, _ := start(t, Options{Accounts: all})
	for version, args := range versions {
		for what, wrong := range map[string][]string{
			"a wrong password": {"-P", "guess"},
			"another's secret": {"-P", "other-secret"},
			"an unknown user":  {"-u", "nobody"},
		} {
			if said, err := try(t, b, "hub", "x", append(wrong, args...)...); err == nil || !strings.Contains(said, "not authorised") && !strings.Contains(said, "Bad User Name") {
				t.Errorf("%s with version %s: %q, %v", what, version, said, err)
			}
		}
		if said, err := mosquitto.TryPublish(t, b.Address(), topic("hub"), []byte("x"), args...); err == nil {
			t.Errorf("without a name with version %s: %q", version, said)
		}
	}
	setPassword(t, all[0], "")
	if _, err := try(t, b, "hub", "x", "-P", ""); err == nil {
		t.Error("an empty file lets in whoever has no password")
	}
	setPassword(t, all[0], "new\n")
	go try(t, b, "hub", "x", "-P", "new")
	handovertest.Want(t, open(t, b, "hub"), "x")
}

func TestABridgeKeepsToItsTopic(t *testing.T) {
	all := accounts(t, "hub", "other")
	b, _ := start(t, Options{Accounts: all})
	other := client(t, b, "other", func(o *paho.ClientOptions) { o.SetClientID("other") })
	c := open(t, b, "other")
	for version, args := range versions {
		for _, to := range []string{topic("other"), "weald/hub/frames/more", "weald/hub"} {
			args := append([]string{"-u", "hub", "-P", "hub-secret"}, args...)
			if said, err := mosquitto.TryPublish(t, b.Address(), to, []byte("intruder"), args...); err == nil && said == "" {
				t.Errorf("version %s published to %s", version, to)
			}
		}
	}
	lost := make(chan struct{})
	hub := client(t, b, "hub", func(o *paho.ClientOptions) {
		o.SetConnectionLostHandler(func(paho.Client, error) { close(lost) })
	})
	hub.Publish("$SYS/broker/uptime", 1, false, "intruder")
	select {
	case <-lost:
	case <-time.After(soon):
		t.Error("a client that publishes to what is no topic is left waiting")
	}
	other.Publish(topic("other"), 1, false, "mine")
	handovertest.Want(t, c, "mine")

	// Nobody reads anything, not even its own topic.
	for _, v := range []mqtt.Version{mqtt.V5, mqtt.V311} {
		l := &mqtt.Link{Broker: b.Address(), Bridge: "hub", User: "hub", PasswordFile: all[0].PasswordFile, Version: v}
		spy, err := l.Open(t.Context())
		if err == nil {
			_, err = handovertest.Next(t, spy)
			spy.Close()
		}
		words := b.Address() + " does not let user hub read weald/hub/frames"
		if err == nil || err.Error() != words {
			t.Errorf("reading: %v, want %q", err, words)
		}
	}
}

func TestTheSameClientIdInTwoAccounts(t *testing.T) {
	b, _ := start(t, Options{Accounts: accounts(t, "hub", "other")})
	hub := client(t, b, "hub", nil)
	other := client(t, b, "other", nil)
	for bridge, p := range map[string]paho.Client{"hub": hub, "other": other} {
		p.Publish(topic(bridge), 1, false, bridge)
		handovertest.Want(t, open(t, b, bridge), bridge)
	}
}

func TestTLS(t *testing.T) {
	ca, stranger := wiretest.NewCA(t), wiretest.NewCA(t)
	cert, key := ca.Leaf("127.0.0.1")
	b, _ := start(t, Options{Accounts: accounts(t, "hub"), TLS: &wire.ServerTLS{Certificate: cert, Key: key}})
	mute := raw(t, b) // holds up nobody
	defer mute.Close()
	if said, err := try(t, b, "hub", "x", "--cafile", stranger.File); err == nil {
		t.Errorf("with another CA: %q", said)
	}
	if said, err := try(t, b, "hub", "x"); err == nil {
		t.Errorf("without TLS: %q", said)
	}
	go try(t, b, "hub", "x", "--cafile", ca.File)
	handovertest.Want(t, open(t, b, "hub"), "x")
}

func TestNewRefusesWhatMakesNoSense(t *testing.T) {
	good := accounts(t, "hub")[0]
	for _, c := range []struct {
		accounts []Account
		want     string
	}{
		{[]Account{{Bridge: "+", PasswordFile: good.PasswordFile}}, `bridge id "+" cannot be part of a topic`},
		{[]Account{good, good}, "bridge hub has two accounts"},
		{[]Account{{Bridge: "hub", PasswordFile: "/nowhere"}}, "the password of bridge hub: open /nowhere: no such file"},
	} {
		if _, err := New(Options{Accounts: c.accounts}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
	b, err := New(Options{Accounts: []Account{good}})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := b.Link("other").Open(t.Context()); err == nil || err.Error() != "bridge other: no bridge of this name has an account" {
		t.Error(err)
	}
}

func TestRunSaysWhyItCannot(t *testing.T) {
	busy := wiretest.Listen(t)
	b, err := New(Options{Address: busy.Addr().String()})
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Run(t.Context()); err == nil || !strings.Contains(err.Error(), "is in use by another program") {
		t.Error(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), quiet)
	defer cancel()
	if _, err := b.Link("x").Open(ctx); err == nil || errors.Is(err, context.DeadlineExceeded) {
		t.Error(err)
	}
}

func TestTheListenerIsRestarted(t *testing.T) {
	b, stop := start(t, Options{Accounts: accounts(t, "hub")})
	address := b.Address()
	client(t, b, "hub", nil)
	c := open(t, b, "hub")
	reading := handovertest.Begin(c)
	began := time.Now()
	stop()
	if r := <-reading; r.Err == nil || r.Err.Error() != "the daemon's MQTT listener is shutting down" {
		t.Errorf("read %q, %v", r.Text, r.Err)
	}
	if d := time.Since(began); d > 2*time.Second {
		t.Errorf("the end took %v", d)
	}
	b.opts.Address = address
	run(t, b)
	go try(t, b, "hub", "again")
	handovertest.Want(t, open(t, b, "hub"), "again")
}
