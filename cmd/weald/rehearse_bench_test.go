package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/stream/journal/sqlite"
	"weald/stream/record"
)

// The same day from the record, where blocks of ten scans are read, unpacked and
// converted again.
func BenchmarkRehearseADayOfTheRecord(b *testing.B) {
	dir := b.TempDir()
	name := filepath.Join(dir, "bench.yaml")
	live := strings.Replace(benchConfig, "file: {path: bed.cap}", "serial: {port: /dev/ttyACM0, baud: 115200}", 1)
	if err := os.WriteFile(name, []byte("data: "+filepath.Join(dir, "data")+"\n"+live), 0o600); err != nil {
		b.Fatal(err)
	}
	keepDay(b, filepath.Join(dir, "data"))
	for b.Loop() {
		var out, errs bytes.Buffer
		if code := run(b.Context(), []string{"rehearse", "-c", name, "--json"}, &out, &errs); code != 0 {
			b.Fatal(errs.String())
		}
		if !bytes.Contains(out.Bytes(), []byte(fmt.Sprintf(`"scans":%d`, *days*86400))) {
			b.Fatalf("not all of it: %s", out.String())
		}
	}
	b.ReportMetric(b.Elapsed().Seconds()/float64(b.N**days), "s/day")
}

func keepDay(b *testing.B, dir string) {
	b.Helper()
	s, err := sqlite.Open(b.Context(), dir, sqlite.Options{Reserve: -1})
	if err != nil {
		b.Fatal(err)
	}
	const each = 10
	scans := bodies(64)
	var blocks []record.Block
	for first := 0; first < *days*86400; first += each {
		block := record.Block{Source: "hub/mat", Config: 1}
		for k := first; k < first+each; k++ {
			at := sample.Instant(k) * sample.Instant(time.Second)
			block.Scans = append(block.Scans, record.Scan{
				Ord: uint64(k + 1), At: at, Arrived: at + 2e6, Seq: uint32(k), First: uint32(k), Millis: uint32(k) * 1000, Counted: true, Rail: 4095, Raw: scans[k%64],
			})
		}
		if blocks = append(blocks, block); len(blocks) == 64 || first+each == *days*86400 {
			if err := s.AppendReadings(b.Context(), blocks, nil); err != nil {
				b.Fatal(err)
			}
			blocks = blocks[:0]
		}
	}
	if err := s.Close(); err != nil {
		b.Fatal(err)
	}
}
