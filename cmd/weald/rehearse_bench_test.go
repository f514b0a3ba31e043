package main

import (
	"bytes"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/klauspost/compress/zstd"

	"weald/ingest/processor"
	"weald/ingest/sample"
	"weald/stream/journal/sqlite"
	"weald/stream/record"
)

// The same day from the record, where blocks of ten scans are read, unpacked and
// converted again; by one rule set, and by two side by side; and beside that, bare:
// the same blocks read and decompressed, and nothing made of them. Given is also the
// processor's time, which what else a machine does changes less than the time.
func BenchmarkRehearseADayOfTheRecord(b *testing.B) {
	dir := b.TempDir()
	name, other := filepath.Join(dir, "bench.yaml"), filepath.Join(dir, "other.yaml")
	live := strings.Replace(benchConfig, "file: {path: bed.cap}", "serial: {port: /dev/ttyACM0, baud: 115200}", 1)
	write := func(name, text string) {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			b.Fatal(err)
		}
	}
	write(name, "data: "+filepath.Join(dir, "data")+"\n"+live)
	write(other, "rules:\n  - {id: loaded, limit: {watch: mat.pressure, above: 35}, on_delay: 20m, resets_after: 2m, priority: medium}\n")
	keepDay(b, filepath.Join(dir, "data"))
	measured := func(what string, f func(b *testing.B)) {
		b.Run(what, func(b *testing.B) {
			began := processor.Used(b)
			for b.Loop() {
				f(b)
			}
			all := float64(b.N * *days)
			b.ReportMetric(b.Elapsed().Seconds()/all, "s/day")
			b.ReportMetric((processor.Used(b)-began).Seconds()/all, "cpu-s/day")
		})
	}
	rehearse := func(more ...string) func(b *testing.B) {
		return func(b *testing.B) {
			var out, errs bytes.Buffer
			if code := run(b.Context(), append([]string{"rehearse", "-c", name, "--json"}, more...), &out, &errs); code != 0 {
				b.Fatal(errs.String())
			}
			if want := fmt.Sprintf(`"scans":%d`, *days*86400); bytes.Count(out.Bytes(), []byte(want)) != 1+len(more)/2 {
				b.Fatalf("not all of it: %s", out.String())
			}
		}
	}
	measured("bare", func(b *testing.B) { decompress(b, filepath.Join(dir, "data")) })
	measured("one", rehearse())
	measured("two", rehearse("--against", other))
}

// decompress reads all blocks of a record, and decompresses what is in them.
func decompress(b *testing.B, data string) {
	b.Helper()
	unpacker, err := zstd.NewReader(nil)
	if err != nil {
		b.Fatal(err)
	}
	defer unpacker.Close()
	files, err := filepath.Glob(filepath.Join(data, "*.db"))
	if err != nil {
		b.Fatal(err)
	}
	var plain []byte
	n := 0
	for _, file := range files {
		db, err := sql.Open("sqlite", file)
		if err != nil {
			b.Fatal(err)
		}
		rows, err := db.QueryContext(b.Context(), "SELECT body FROM blocks ORDER BY first_ord")
		if err != nil {
			db.Close()
			continue // the main file
		}
		for rows.Next() {
			var body sql.RawBytes
			if err := rows.Scan(&body); err != nil {
				b.Fatal(err)
			}
			frame := bytes.Index(body, []byte{0x28, 0xb5, 0x2f, 0xfd}) // RFC 8878, 3.1.1
			if plain, err = unpacker.DecodeAll(body[frame:len(body)-4], plain[:0]); err != nil {
				b.Fatal(err)
			}
			n++
		}
		if err := errors.Join(rows.Err(), rows.Close(), db.Close()); err != nil {
			b.Fatal(err)
		}
	}
	if n < *days*8640 {
		b.Fatalf("%d blocks in %v", n, files)
	}
}

func keepDay(b testing.TB, dir string) {
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
