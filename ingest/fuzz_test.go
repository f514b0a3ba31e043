package ingest

import (
	"bytes"
	"testing"

	"weald/ingest/frame"
	"weald/ingest/sample"
)

// FuzzPlay feeds any bytes to each format, in cuts of any size: it must end,
// count every byte, make no scan of another width, and let no arrival run back.
func FuzzPlay(f *testing.F) {
	f.Add([]byte("w1,0,1,2,3,4*00\r\nw1,"), uint8(0), uint8(3))
	f.Add([]byte{3, 1, 1, 1, 1, 0, 0, 9}, uint8(1), uint8(1))
	f.Add([]byte("t,a,b\n1,2,3\n2,,\n"), uint8(2), uint8(200))
	f.Fuzz(func(t *testing.T, b []byte, format, cut uint8) {
		bridge := logger(frame.TimeColumn{Column: 0, As: frame.InSeconds})
		bridge.Format.Kind = []Kind{Line, Packed, Delimited}[format%3]
		last := sample.Past
		s, err := playAll(t.Context(), bridge, &cutReader{bytes.NewReader(b), int(cut) + 1}, PlayOptions{}, func(s *sample.Scan) {
			if len(s.Values) != 2 || len(s.Raw) != 2 || s.Arrived < last {
				t.Fatalf("scan %+v after one that arrived at %v", s, last)
			}
			last = s.Arrived
		})
		if err != nil || s.Bytes != uint64(len(b)) {
			t.Fatalf("%d of %d bytes, %v", s.Bytes, len(b), err)
		}
	})
}

// cutReader gives at most n bytes at a time.
type cutReader struct {
	r *bytes.Reader
	n int
}

func (c *cutReader) Read(p []byte) (int, error) { return c.r.Read(p[:min(len(p), c.n)]) }
