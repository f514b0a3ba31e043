package export

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/format"
)

func openParquet(t *testing.T, path string) *parquet.File {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = f.Close() })
	info, err := f.Stat()
	if err != nil {
		t.Fatal(err)
	}
	p, err := parquet.OpenFile(f, info.Size())
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestParquetSchema(t *testing.T) {
	files, err := Parquet(t.Context(), bench(), t.TempDir(), "k07", Options{})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{
		`message Reading {
	required int64 time (TIMESTAMP(isAdjustedToUTC=true,unit=NANOS));
	required binary signal (STRING);
	required binary unit (STRING);
	optional double value;
	optional double u;
	optional boolean extrapolated;
	optional boolean expired;
}`,
		`message Event {
	required int64 time (TIMESTAMP(isAdjustedToUTC=true,unit=NANOS));
	required double duration_s;
	required binary kind (STRING);
	required binary what (STRING);
	required binary rule (STRING);
	required binary subject (STRING);
	required binary priority (STRING);
	required binary author (STRING);
	required binary text (STRING);
}`,
	} {
		p := openParquet(t, files[i].Path)
		if got := p.Schema().String(); got != want {
			t.Errorf("schema is\n%s\nwant\n%s", got, want)
		}
		for _, g := range p.Metadata().RowGroups {
			for _, c := range g.Columns {
				if c.MetaData.Codec != format.Zstd {
					t.Errorf("column %v is compressed by %v", c.MetaData.PathInSchema, c.MetaData.Codec)
				}
			}
		}
		for key, want := range map[string]string{
			"weald.place": "bench-1", "weald.person": "K-07", "weald.session": "s-12", "weald.program": "weald 1.2",
			"weald.start": "2031-03-02T06:05:09Z", "weald.signal.ankle.pressure": "2 per second, a value lasts at most 1s",
		} {
			if got, ok := p.Lookup(key); !ok || got != want {
				t.Errorf("%s is %q, want %q", key, got, want)
			}
		}
	}
}

func TestParquetReadings(t *testing.T) {
	files, err := Parquet(t.Context(), bench(), t.TempDir(), "k07", Options{})
	if err != nil {
		t.Fatal(err)
	}
	rows := readParquet[Reading](t, files[0].Path)
	var got []string
	for _, r := range rows {
		value := "unknown"
		if r.Value != nil {
			value = string(appendNumber(nil, *r.Value))
		}
		got = append(got, strings.Join([]string{time.Duration(r.Time - int64(start)).String(), r.Signal, value, r.Unit}, " "))
	}
	want := `0s ankle.pressure 40 mmHg
500ms ankle.pressure 41.25 mmHg
1s ankle.pressure 0 mmHg
6s ankle.pressure 38 mmHg
6.5s ankle.pressure 38.5 mmHg
0s calf.pressure 25.5 mmHg
500ms calf.pressure unknown mmHg
1s calf.pressure -0.5 mmHg
6s calf.pressure 24 mmHg
6.5s calf.pressure 24.125 mmHg
0s skin.temperature 31.5 degC
1s skin.temperature 31.75 degC
700ms battery.charge 80 %`
	if strings.Join(got, "\n") != want || files[0].Rows != int64(len(rows)) {
		t.Errorf("%d readings:\n%s\nwant\n%s", files[0].Rows, strings.Join(got, "\n"), want)
	}
	events := readParquet[Event](t, files[1].Path)
	if len(events) != 2 || events[0].Rule != "ankle-too-loose" || events[0].Duration != 2.5 ||
		events[1].Text != "said \"better\",\nthen slept" || events[1].Author != "N-2" || events[1].Time != int64(after(7*time.Second)) {
		t.Errorf("events %+v", events)
	}
}

// How uncertain a reading is, and what it is in doubt for, is beside it.
func TestParquetTellsUncertaintyAndDoubt(t *testing.T) {
	v := func(v, u float64, d Doubt) Row { return Row{Values: []float64{v}, U: []float64{u}, Doubts: []Doubt{d}} }
	r := one(Signal{Name: "ankle.pressure", Unit: "mmHg"}, 6*time.Second, seconds(
		Row{Values: []float64{30}}, v(40, 1.25, 0), v(50, unknown, Extrapolated), v(unknown, 1, 0), v(60, 2.5, Expired)))
	files, err := Parquet(t.Context(), r, t.TempDir(), "k07", Options{})
	if err != nil {
		t.Fatal(err)
	}
	said := func(v any, is bool) string {
		if !is {
			return "-"
		}
		return fmt.Sprint(v)
	}
	var got []string
	for _, r := range readParquet[Reading](t, files[0].Path) {
		var words []string
		for _, p := range []*float64{r.Value, r.U} {
			if p == nil {
				p = &[]float64{-1}[0]
			}
			words = append(words, said(*p, *p != -1))
		}
		for _, p := range []*bool{r.Extrapolated, r.Expired} {
			words = append(words, said(p != nil && *p, p != nil))
		}
		got = append(got, strings.Join(words, " "))
	}
	want := "30 - - -\n40 1.25 false false\n50 - true false\n- - - -\n60 2.5 false true"
	if strings.Join(got, "\n") != want {
		t.Errorf("readings\n%s\nwant\n%s", strings.Join(got, "\n"), want)
	}
}

func appendNumber(dst []byte, v float64) []byte {
	row := csvRow{b: dst}
	row.number(v)
	return row.b
}

func readParquet[T any](t *testing.T, path string) []T {
	t.Helper()
	r := parquet.NewGenericReader[T](openParquet(t, path))
	defer r.Close()
	rows := make([]T, r.NumRows())
	for n := 0; n < len(rows); {
		k, err := r.Read(rows[n:])
		if n += k; err != nil && !(errors.Is(err, io.EOF) && n == len(rows)) {
			t.Fatal(err)
		}
	}
	return rows
}

// More rows than a row group holds, exactly as they were.
func TestParquetOfManyRows(t *testing.T) {
	r := longRecording(t, 0.05, 24, 70)
	files, err := Parquet(t.Context(), r, t.TempDir(), "long", Options{})
	if err != nil {
		t.Fatal(err)
	}
	p := openParquet(t, files[0].Path)
	if n := len(p.RowGroups()); n < 2 {
		t.Errorf("%d row groups", n)
	}
	next := map[string]int{}
	var want []Row
	for row := range r.Tracks[0].Rows {
		want = append(want, Row{At: row.At, Values: append([]float64(nil), row.Values...)})
	}
	column := map[string]int{}
	for i, s := range r.Tracks[0].Signals {
		column[s.Name] = i
	}
	rows := readParquet[Reading](t, files[0].Path)
	for _, got := range rows {
		w := want[next[got.Signal]]
		if got.Time != int64(w.At) || got.Value == nil || *got.Value != w.Values[column[got.Signal]] || got.Unit != "mmHg" {
			t.Fatalf("reading %d of %s is %+v, want %v", next[got.Signal], got.Signal, got, w)
		}
		next[got.Signal]++
	}
	if len(rows) != 24*len(want) || len(next) != 24 {
		t.Errorf("%d rows of %d signals, want 24 times %d", len(rows), len(next), len(want))
	}
}
