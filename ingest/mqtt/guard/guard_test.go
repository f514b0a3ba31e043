package guard

import (
	"bytes"
	"encoding/binary"
	"errors"
	"net"
	"testing"

	"github.com/eclipse/paho.golang/packets"
	"pgregory.net/rapid"
)

// packet is one of n bytes after its header.
func packet(n int) []byte {
	return append(binary.AppendUvarint([]byte{0x32}, uint64(n)), make([]byte, n)...)
}

// However a stream is cut into reads, it is refused exactly where a packet that
// is too large has told its length.
func TestScannerFollowsPackets(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sizes := rapid.SliceOfN(rapid.SampledFrom([]int{0, 1, 2, 127, 128, 299, 300}), 0, 8).Draw(t, "sizes")
		large := rapid.SampledFrom([]int{301, 16383, 1 << 21}).Draw(t, "large")
		var stream []byte
		for _, n := range sizes {
			stream = append(stream, packet(n)...)
		}
		good := len(stream)
		told := good + len(packet(large)) - large
		stream = append(stream, packet(large)...)[:told+3]
		s := scanner{most: 300}
		for at := 0; at < len(stream); {
			end := min(at+rapid.IntRange(1, 200).Draw(t, "cut"), len(stream))
			ok := s.take(stream[at:end])
			if ok != (end < told) {
				t.Fatalf("after %d of %d bytes: %v", end, told, ok)
			}
			if !ok {
				return
			}
			at = end
		}
	})
}

func TestALibrarySetsNoMemoryAside(t *testing.T) {
	near, far := net.Pipe()
	defer near.Close()
	g := New(near, 1<<20)
	go func() {
		far.Write([]byte{0x32, 0xff, 0xff, 0xff, 0x7f}) // of 256 MB
		far.Close()
	}()
	if _, err := packets.ReadPacket(g); !errors.Is(err, ErrTooLarge) {
		t.Errorf("%v, want %v", err, ErrTooLarge)
	}
}

func FuzzScanner(f *testing.F) {
	f.Add([]byte{0x20, 0x02, 0x00, 0x00, 0x32, 0x80, 0x80, 0x01})
	f.Add(bytes.Repeat([]byte{0xff}, 9))
	f.Fuzz(func(t *testing.T, p []byte) {
		whole, bytewise := scanner{most: 300}, scanner{most: 300}
		a, b := whole.take(p), true
		for i := range p {
			b = b && bytewise.take(p[i:i+1])
		}
		if a != b {
			t.Fatalf("in one piece %v, byte by byte %v", a, b)
		}
	})
}
