package importing

import (
	"bytes"
	"io"
	"math/rand/v2"
	"testing"
	"time"

	"weald/ingest"
	"weald/ingest/calib"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

// bridges are one of each kind.
func bridges(t testing.TB) map[string]ingest.Bridge {
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Skipf("no time zones here: %v", err)
	}
	mat := ingest.Bridge{ID: "hub", Format: ingest.Format{Kind: ingest.Packed}}
	for i := range 2 {
		mat.Sources = append(mat.Sources, ingest.Source{
			Number: uint16(i), ID: "hub/mat", Index: i, Channels: 48, Rate: 10, StaleAfter: time.Second, Unit: calib.Counts,
		})
	}
	return map[string]ingest.Bridge{
		"line":    leg(ingest.Format{Kind: ingest.Line}),
		"packed":  mat,
		"seconds": seconds(),
		"counted": rows(frame.TimeColumn{Column: -1, Period: time.Second}, 0, 1),
		"local":   rows(frame.TimeColumn{Column: 0, As: frame.InLayout, Layout: time.DateTime, Zone: zone}),
	}
}

// recording writes n scans as b would, some of them late, in an hour that comes
// twice, or stored.
func recording(t testing.TB, b *ingest.Bridge, n int, r *rand.Rand) (content []byte) {
	t.Helper()
	now := sample.At(time.Date(2025, 10, 25, 23, 59, 0, 0, time.UTC))
	ms := r.Uint32()
	for i := range uint32(n) {
		step := time.Duration(r.IntN(40)) * time.Second
		if r.IntN(30) == 0 {
			step = -step
		}
		now, ms = now.Add(step), ms+uint32(step/time.Millisecond)
		for _, s := range b.Sources {
			f := frame.Frame{Kind: frame.Readings, Source: s.Number, Seq: i, Millis: ms, Wall: now, Stored: r.IntN(40) == 0}
			for range s.Channels {
				f.Readings = append(f.Readings, float64(r.IntN(4095)))
			}
			var err error
			switch b.Format.Kind {
			case ingest.Line:
				f.Stored = false
				content, err = frame.AppendLine(content, &f)
			case ingest.Packed:
				half := f
				half.Readings, half.More = f.Readings[:20], true
				f.Readings, f.First = f.Readings[20:], 20
				if content, err = frame.AppendWire(content, &half, frame.U12); err == nil && r.IntN(20) > 0 {
					content, err = frame.AppendWire(content, &f, frame.U12)
				}
			default:
				if content, err = b.Format.Delimited.AppendRow(content, &f); err != nil {
					err = nil // a time that the layout cannot tell from another
				}
			}
			if err != nil {
				t.Fatal(err)
			}
		}
	}
	return content
}

// The law of an import: whatever happened to the bytes, the capture plays as the
// original does.
func TestAnImportPlaysAsTheOriginal(t *testing.T) {
	for name, b := range bridges(t) {
		r := rand.New(rand.NewPCG(3, 4)) // of each bridge, as they come in any order
		taken, refused := uint64(0), uint64(0)
		for range 60 {
			content := recording(t, &b, 1+r.IntN(60), r)
			for range r.IntN(30) {
				switch i := r.IntN(len(content)); r.IntN(3) {
				case 0:
					content[i] ^= 1 << r.IntN(8)
				case 1:
					content = append(content[:i], content[min(i+r.IntN(40), len(content)):]...)
				case 2:
					content[i] = "\n\x00;,\"-9"[r.IntN(7)]
				}
				if len(content) == 0 {
					content = []byte{'\n'}
				}
			}
			a := exact(t, b, content)
			taken, refused = taken+a.Frames, refused+a.RefusedFrames()
		}
		if taken < 500 || refused < 100 {
			t.Errorf("%s: %d frames taken and %d refused prove little", name, taken, refused)
		}
	}
}

func FuzzImport(f *testing.F) {
	kinds := []string{"line", "packed", "seconds", "counted", "local"}
	r := rand.New(rand.NewPCG(1, 2))
	all := bridges(f)
	for i, name := range kinds {
		b := all[name]
		f.Add(recording(f, &b, 4, r), uint8(i))
	}
	f.Fuzz(func(t *testing.T, content []byte, kind uint8) {
		b := all[kinds[int(kind)%len(kinds)]]
		var draft memory
		a, err := draw(t.Context(), &b, bytes.NewReader(content), int64(len(content)), &draft, Options{Most: 3})
		if err != nil {
			t.Fatal(err)
		}
		if want := scans(t, b, content); a.Written == 0 {
			if len(want) > 0 {
				t.Fatalf("nothing was written of %d scans", len(want))
			}
		} else if got := scans(t, b, draft.b); !same(got, want) {
			t.Fatalf("the import gives %d scans, others than the %d of the original", len(got), len(want))
		}
	})
}

// memory is a file that is not on a disk.
type memory struct {
	b  []byte
	at int
}

func (m *memory) Write(p []byte) (int, error) { m.b = append(m.b, p...); return len(p), nil }

func (m *memory) Read(p []byte) (int, error) {
	n := copy(p, m.b[m.at:])
	if m.at += n; n == 0 {
		return 0, io.EOF
	}
	return n, nil
}

func (m *memory) Seek(to int64, _ int) (int64, error) { m.at = int(to); return to, nil }

func BenchmarkImport(b *testing.B) {
	r := rand.New(rand.NewPCG(5, 6))
	for name, bridge := range bridges(b) {
		b.Run(name, func(b *testing.B) {
			content := recording(b, &bridge, 40000, r)
			b.SetBytes(int64(len(content)))
			for b.Loop() {
				imported(b, bridge, content)
			}
		})
	}
}
