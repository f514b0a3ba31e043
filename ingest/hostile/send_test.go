package hostile

import (
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"weald/ingest/frame"
)

// senderJob is the variable of the environment that makes the test binary send
// instead of test, so that what sending costs is the cost of another process.
const senderJob = "WEALD_SENDER_JOB"

// A job is what to send: scans of a mat, from so many bridges.
type job struct {
	Bridges int
	Rate    int // scans per second of each
	Coding  frame.Coding
	Broker  string // an MQTT broker's address; empty to listen for TCP
}

// bridgeID is the name of the i-th bridge.
func bridgeID(i int) string { return fmt.Sprint("hub-", i) }

// secret is a bridge's password.
func secret(id string) string { return id + "-secret" }

// sending starts a process that does a job, until stop. It returns the address
// where that listens, if it does.
func sending(b *testing.B, j job) (address string, stop func()) {
	b.Helper()
	text, err := json.Marshal(j)
	if err != nil {
		b.Fatal(err)
	}
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), senderJob+"="+string(text))
	cmd.Stderr = os.Stderr
	in, err := cmd.StdinPipe()
	if err != nil {
		b.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		b.Fatal(err)
	}
	line := make([]byte, 64)
	n, err := out.Read(line)
	if err != nil {
		b.Fatalf("the senders do not begin: %v", err)
	}
	return strings.TrimSpace(string(line[:n])), func() {
		in.Close() // ends the senders
		if err := cmd.Wait(); err != nil {
			b.Errorf("senders: %v", err)
		}
	}
}

// send does a job until standard input ends.
func send(text string) error {
	var j job
	if err := json.Unmarshal([]byte(text), &j); err != nil {
		return err
	}
	done := make(chan struct{})
	var all sync.WaitGroup
	defer all.Wait()
	defer close(done)
	if j.Broker == "" {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			return err
		}
		defer l.Close()
		go func() {
			for {
				conn, err := l.Accept()
				if err != nil {
					return
				}
				all.Go(func() { defer conn.Close(); overTCP(j, conn, done) })
			}
		}()
		fmt.Println(l.Addr())
	} else {
		for i := range j.Bridges {
			id := bridgeID(i)
			c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + j.Broker).SetClientID("gateway").
				SetUsername(id).SetPassword(secret(id)).SetProtocolVersion(4).SetAutoReconnect(false))
			if token := c.Connect(); token.Wait() && token.Error() != nil {
				return fmt.Errorf("bridge %s: %w", id, token.Error())
			}
			all.Go(func() { defer c.Disconnect(100); overMQTT(j, c, id, done) })
		}
		fmt.Println("connected")
	}
	_, err := io.Copy(io.Discard, os.Stdin)
	return err
}

func overTCP(j job, conn net.Conn, done <-chan struct{}) {
	j.scans(done, func(f *frame.Frame) error {
		b, err := frame.AppendWire(nil, f, j.Coding)
		if err == nil {
			_, err = conn.Write(b)
		}
		return err
	})
}

func overMQTT(j job, c paho.Client, id string, done <-chan struct{}) {
	j.scans(done, func(f *frame.Frame) error {
		b, err := frame.AppendPacked(nil, f, j.Coding)
		if err == nil {
			c.Publish("weald/"+id+"/frames", 1, false, b)
		}
		return err
	})
}

// scans makes a bridge's scans at its rate, of a body that moves a little.
func (j *job) scans(done <-chan struct{}, out func(*frame.Frame) error) {
	period := time.Second / time.Duration(j.Rate)
	time.Sleep(rand.N(period)) // bridges are not in step
	began := time.Now()
	tick := time.NewTicker(period)
	defer tick.Stop()
	cells := make([]float64, matCells)
	for seq := uint32(0); ; seq++ {
		for i := range cells {
			cells[i] = 0
			if i/32%3 > 0 {
				cells[i] = float64((i*37 + int(seq)*5) % 3800)
			}
		}
		f := frame.Frame{Kind: frame.Readings, Seq: seq, Millis: uint32(time.Since(began) / time.Millisecond), Readings: cells}
		if out(&f) != nil {
			return
		}
		select {
		case <-tick.C:
		case <-done:
			return
		}
	}
}
