package ingest

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"weald/ingest/emulate"
	"weald/ingest/serialport"
)

// A behind is a stream whose every scan is late, as on a machine that has too much to do.
type behind struct{ values [8]float64 }

func (b *behind) Next(s *emulate.Scan) error {
	*s = emulate.Scan{Source: 1, At: -time.Minute, Values: b.values[:]}
	return nil
}

func (b *behind) SkipTo(time.Duration) {}

// A bridge that is behind throws away what nobody has read. Its reader, which has been
// told that there is something to read, must not be left waiting for it: a port on which
// a read waits in the operating system is one that cannot be closed.
func TestAPortWhoseBridgeIsBehindIsClosed(t *testing.T) {
	for range 200 {
		path := filepath.Join(t.TempDir(), "ttyACM0")
		port, err := emulate.NewPort(path)
		if err != nil {
			t.Fatal(err)
		}
		conn, err := serialport.Link{Path: path}.Open(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		played, read, closed := make(chan struct{}), make(chan struct{}), make(chan struct{})
		go func() {
			defer close(played)
			player := emulate.Player{Stream: new(behind), Speed: 1}
			_ = player.Play(ctx, port) // ends with ctx
		}()
		go func() {
			defer close(read)
			for b := make([]byte, 64); err == nil; {
				_, err = conn.Read(b)
			}
		}()
		time.Sleep(2 * time.Millisecond)
		cancel()
		<-played
		go func() { defer close(closed); conn.Close() }()
		select {
		case <-closed:
		case <-time.After(5 * time.Second):
			t.Error("a port is not closed within 5 s: its reader waits")
		}
		port.Close()
		<-closed
		<-read
		if t.Failed() {
			return
		}
	}
}
