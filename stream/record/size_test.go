package record

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"weald/ingest/recorded"
	"weald/ingest/sample"
)

// beds returns the blocks, ten scans each, of real recordings of beds.
func beds(t testing.TB, most int) []*Block {
	files := recorded.Files(t, "bed-postures", "S*", "*.txt")
	var blocks []*Block
	for _, file := range files[:min(len(files), most)] {
		b := &Block{Source: "hub/mat4", Number: uint64(len(blocks) + 1), Config: 1}
		ord := uint64(0)
		for raw := range recorded.Counts(t, file) {
			ord++
			at := sample.Instant(ord) * 1e9
			s := Scan{Ord: ord, At: at, Arrived: at + 3e6, Seq: uint32(ord), Rail: 4095, Raw: slices.Clone(raw)}
			b.Scans = append(b.Scans, s)
			if len(b.Scans) == 10 {
				blocks = append(blocks, b)
				b = &Block{Source: b.Source, Number: b.Number + 1, Config: 1}
			}
		}
	}
	return blocks
}

// The record of a real bed is small: at most half a byte a cell.
func TestRealBedsAreSmall(t *testing.T) {
	most := math.MaxInt
	if testing.Short() {
		most = 12
	}
	bytes, cells := 0, 0
	for _, b := range beds(t, most) {
		enc, err := b.Append(nil)
		if err != nil {
			t.Fatal(err)
		}
		bytes += len(enc)
		cells += len(b.Scans) * len(b.Scans[0].Raw)
	}
	per := float64(bytes) / float64(cells)
	t.Logf("%.3f bytes a cell over %d cells", per, cells)
	if per > 0.5 {
		t.Errorf("%.3f bytes a cell, more than 0.5", per)
	}
}

// synthetic is a mat with noise, which is harder to compress than a real one.
func synthetic(rows, columns, scans int) *Block {
	rng := rand.New(rand.NewPCG(1, 2))
	b := &Block{Source: "hub/mat1", Number: 1, Config: 1}
	for i := range scans {
		s := Scan{Ord: uint64(i + 1), At: sample.Instant(i) * 1e8, Arrived: sample.Instant(i)*1e8 + 3e6, Seq: uint32(i), Rail: 4095}
		for r := range rows {
			for c := range columns {
				hill := 1500 * math.Exp(-math.Pow(float64(r)/float64(rows)-.5, 2)*9-math.Pow(float64(c)/float64(columns)-.5, 2)*12)
				s.Raw = append(s.Raw, math.Round(max(0, hill+4*rng.NormFloat64())))
			}
		}
		b.Scans = append(b.Scans, s)
	}
	return b
}

func BenchmarkBlock(b *testing.B) {
	for name, block := range map[string]*Block{"mat": synthetic(32, 64, 10), "wrap": synthetic(1, 4, 10)} {
		raw := int64(2 * len(block.Scans) * len(block.Scans[0].Raw))
		enc, err := block.Append(nil)
		if err != nil {
			b.Fatal(err)
		}
		b.Run(fmt.Sprint(name, "/encode"), func(b *testing.B) {
			b.SetBytes(raw)
			var dst []byte
			for b.Loop() {
				if dst, err = block.Append(dst[:0]); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(len(enc))/float64(raw/2), "B/cell")
		})
		b.Run(fmt.Sprint(name, "/decode"), func(b *testing.B) {
			b.SetBytes(raw)
			for b.Loop() {
				if _, err := DecodeBlock(enc); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkRealBed(b *testing.B) {
	blocks := beds(b, 8)
	raw, bytes := 0, 0
	for i := 0; b.Loop(); i++ {
		block := blocks[i%len(blocks)]
		enc, err := block.Append(nil)
		if err != nil {
			b.Fatal(err)
		}
		raw += 2 * len(block.Scans) * len(block.Scans[0].Raw)
		bytes += len(enc)
	}
	b.SetBytes(int64(raw / b.N))
	b.ReportMetric(float64(bytes)/float64(raw/2), "B/cell")
}
