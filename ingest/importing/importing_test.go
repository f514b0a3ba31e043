package importing

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"weald/ingest"
	"weald/ingest/capture"
	"weald/ingest/frame"
	"weald/ingest/raced"
	"weald/ingest/sample"
)

func TestRefusalsAreToldWithTheirPlace(t *testing.T) {
	b := seconds()
	b.Format.Delimited.HeaderLines = 1
	a := exact(t, b, lines(
		"time;ankle;calf",
		"0;40,5;20",
		"1;40.5;20", // the wrong decimal
		"2;41",      // ragged
		"soon;41;20",
		"3;NA;20,25",
		"",
		"4;41;2x",
	))
	if a.Frames != 2 || a.RefusedFrames() != 4 || a.Refused[frame.BadNumber] != 2 || a.Clean() {
		t.Errorf("took %d, refused %v", a.Frames, a.Refused)
	}
	want := []Problem{
		{Line: 3, Column: 3, Byte: 26, At: at(t, "1970-01-01T00:00:00Z"), Reason: frame.BadNumber, Text: `number: column 1: "40.5" is not a number`},
		{Line: 4, Column: 5, Byte: 36, At: at(t, "1970-01-01T00:00:00Z"), Reason: frame.BadFields, Text: "fields: 2 columns, not 3"},
		{Line: 5, Column: 1, Byte: 41, At: at(t, "1970-01-01T00:00:00Z"), Reason: frame.BadTime, Text: `time: column 0: "soon" is not a time in seconds`},
		{Line: 8, Column: 6, Byte: 64, At: at(t, "1970-01-01T00:00:03Z"), Reason: frame.BadNumber, Text: `number: column 2: "2x" is not a number`},
	}
	if len(a.Problems) != len(want) {
		t.Fatalf("problems %+v", a.Problems)
	}
	for i, p := range a.Problems {
		if p != want[i] {
			t.Errorf("problem %d: %+v, want %+v", i, p, want[i])
		}
	}
}

// Every reason is seen, however many refusals of another came first.
func TestManyRefusalsHideNoOther(t *testing.T) {
	text := strings.Repeat("x;1;2\n", 500) + "1;2\n3;1;2\n"
	a := exact(t, seconds(), []byte(text))
	if len(a.Problems) != 11 || a.Problems[10].Reason != frame.BadFields || a.Refused[frame.BadTime] != 500 {
		t.Errorf("shows %d problems, the last %+v, of %v", len(a.Problems), a.Problems[len(a.Problems)-1], a.Refused)
	}
}

// What was refused is not in the capture, unless what follows needs it.
func TestTheCaptureHoldsWhatWasTaken(t *testing.T) {
	content := []byte("0;1;2\n1;broken;2\r\n2;3;4\r\n\n3;5;6")
	for name, c := range map[string]struct {
		bridge ingest.Bridge
		want   string
	}{
		"own times": {seconds(), "0;1;2\n2;3;4\r\n3;5;6"},
		"counted":   {rows(frame.TimeColumn{Column: -1, Period: time.Second}), "0;1;2\n1;broken;2\r\n2;3;4\r\n3;5;6"},
	} {
		a, out := imported(t, c.bridge, content)
		f, err := os.Open(out)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		r, err := capture.NewReader(f)
		if err != nil {
			t.Fatal(err)
		}
		var got []byte
		for rec, err := range r.Records() {
			if err != nil {
				t.Fatal(err)
			}
			got = append(got, rec.Bytes...)
		}
		if string(got) != c.want {
			t.Errorf("%s: the capture holds %q, want %q", name, got, c.want)
		}
		if h := r.Header(); h.Bridge != "logger" || h.Format != "delimited" || h.Whole || !h.Started.Equal(time.Unix(0, 0)) {
			t.Errorf("%s: header %+v", name, h)
		}
		if a.RefusedFrames() != 1 {
			t.Errorf("%s: refused %v", name, a.Refused)
		}
	}
}

// A row without a time of its own is as late as there are rows above it, the
// refused ones too.
func TestCountedRowsKeepTheirTimes(t *testing.T) {
	b := rows(frame.TimeColumn{Column: -1, Period: time.Second, Start: at(t, "2026-03-01T10:00:00Z")}, 0, 1)
	b.Format.Delimited.Columns = 2
	a := exact(t, b, lines("x;y", "1;2", strings.Repeat("9", 3<<20), "3;4", "5", "6;7"))
	src := a.Sources[0]
	if src.Scans != 3 || src.First != at(t, "2026-03-01T10:00:01Z") || src.Last != at(t, "2026-03-01T10:00:05Z") || a.RefusedFrames() != 3 {
		t.Errorf("%d scans from %v to %v, refused %v", src.Scans, src.First, src.Last, a.Refused)
	}
}

func TestNothingIsOverwrittenAndNothingLeftBehind(t *testing.T) {
	dir := t.TempDir()
	in, out := filepath.Join(dir, "a.csv"), filepath.Join(dir, "a.wcap")
	for _, name := range []string{in, out} {
		if err := os.WriteFile(name, []byte("0;1;2\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := File(t.Context(), seconds(), in, out, Options{}); err == nil || !strings.Contains(err.Error(), "a.wcap exists") {
		t.Errorf("over an existing file: %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := File(ctx, seconds(), in, filepath.Join(dir, "b.wcap"), Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("interrupted: %v", err)
	}
	wrong := seconds()
	wrong.Format.Kind = ingest.Line
	a, err := File(t.Context(), wrong, in, filepath.Join(dir, "c.wcap"), Options{})
	if err != nil || a.Output != "" || a.RefusedFrames() != 1 {
		t.Errorf("nothing to take: %+v, %v", a, err)
	}
	if _, err := File(t.Context(), seconds(), dir, filepath.Join(dir, "d.wcap"), Options{}); err == nil || !strings.Contains(err.Error(), "folder") {
		t.Errorf("a folder: %v", err)
	}
	if got := names(t, dir); len(got) != 2 {
		t.Errorf("left behind: %v", got)
	}
	if b, err := os.ReadFile(out); err != nil || string(b) != "0;1;2\n" {
		t.Errorf("the existing file is now %q, %v", b, err)
	}
}

// A name that was taken while the import ran stays with who took it.
func TestANameTakenMeanwhile(t *testing.T) {
	dir := t.TempDir()
	draft, out := filepath.Join(dir, "draft"), filepath.Join(dir, "out")
	for _, name := range []string{draft, out} {
		if err := os.WriteFile(name, []byte(name), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := publish(draft, out); err == nil || !strings.Contains(err.Error(), "meanwhile") {
		t.Errorf("published over a file: %v", err)
	}
	if b, _ := os.ReadFile(out); string(b) != out {
		t.Error("the file was overwritten")
	}
}

func TestProgressRisesToTheEnd(t *testing.T) {
	raced.Skip(t, "nothing runs beside anything here")
	dir := t.TempDir()
	in := filepath.Join(dir, "in")
	if err := os.WriteFile(in, bytes.Repeat([]byte("1;2;3\n"), 1<<19), 0o600); err != nil {
		t.Fatal(err)
	}
	last, calls := 0.0, 0
	_, err := File(t.Context(), seconds(), in, filepath.Join(dir, "out"), Options{Progress: func(_ int64, share float64) {
		if share < last || share > 1 {
			t.Errorf("%v after %v", share, last)
		}
		last, calls = share, calls+1
	}})
	// What it does not tell of are the 16 bytes around each row.
	if err != nil || last < 0.65 || calls < 5 {
		t.Errorf("told %d times, the last %v: %v", calls, last, err)
	}
}

// Sources and channels that the configuration lacks are counted, and are there
// for a better configuration.
func TestStrangersAreKept(t *testing.T) {
	b := leg(ingest.Format{Kind: ingest.Line})
	var content []byte
	for i := range uint32(10) {
		for _, f := range []frame.Frame{
			{Source: 0, Readings: []float64{1, 2}},
			{Source: 9, Readings: []float64{float64(i)}},
		} {
			f.Kind, f.Seq, f.Millis = frame.Readings, i, 1000*i
			content = wire(t, content, &f)
		}
	}
	content = wire(t, content, &frame.Frame{Kind: frame.Readings, Seq: 10, Millis: 10000, Readings: []float64{1, 2, 3}})
	a, out := imported(t, b, content)
	if len(a.Unknown) != 1 || a.Unknown[0] != (Unknown{9, 10}) || a.Refused[frame.BadSource] != 10 || a.Refused[frame.BadChannel] != 1 || a.Frames != 10 {
		t.Errorf("account %+v", a)
	}
	if p := a.Problems[len(a.Problems)-1]; p.Line != 21 || p.Reason != frame.BadChannel {
		t.Errorf("the last problem is %+v", p)
	}
	b.Sources[0].Number, b.Sources[0].Channels = 9, 1
	written, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	if got := scans(t, b, written); len(got) != 10 || got[9].Raw[0] != 9 {
		t.Errorf("%d scans of the source that was unknown", len(got))
	}
}

func wire(t testing.TB, dst []byte, f *frame.Frame) []byte {
	t.Helper()
	dst, err := frame.AppendLine(dst, f)
	if err != nil {
		t.Fatal(err)
	}
	return dst
}

func TestACaptureIsCopiedWithoutItsDamage(t *testing.T) {
	b := leg(ingest.Format{Kind: ingest.Line})
	var file bytes.Buffer
	w, err := capture.NewWriter(&file, capture.Header{Bridge: "elsewhere", Format: "line", Started: time.Unix(50, 0)})
	if err != nil {
		t.Fatal(err)
	}
	var ends []int
	for i := range uint32(20) {
		line := wire(t, nil, &frame.Frame{Kind: frame.Readings, Seq: i, Millis: 100 * i, Readings: []float64{float64(i), 7}})
		if i == 12 {
			line = append(line, "w1,torn"...) // goes on in the next record
		}
		if err := errors.Join(w.Record(sample.Instant(100+i)*1e8, line), w.Flush()); err != nil {
			t.Fatal(err)
		}
		ends = append(ends, file.Len())
	}
	content := file.Bytes()
	content[ends[4]+20] ^= 1 // in the sixth record
	content = content[:len(content)-3]
	a := exact(t, b, content)
	if a.Records != 2 || len(a.Damaged) != 2 || !a.Capture || a.Clean() {
		t.Errorf("damage: %v", a.Damaged)
	}
	if a.Refused[frame.BadChecksum] != 1 || a.Sources[0].Missing != 2 || a.Problems[0].Byte != -1 {
		t.Errorf("refused %v, %d missing, problems %+v", a.Refused, a.Sources[0].Missing, a.Problems)
	}
	if a.Sources[0].First < 10e9 {
		t.Errorf("the arrivals of the capture are lost: first scan at %v", a.Sources[0].First)
	}
}

// Decimal commas between commas are read without a mistake, and wrong.
func TestRowsWiderThanTheOthersAreTold(t *testing.T) {
	b := seconds()
	b.Format.Delimited.Separator, b.Format.Delimited.Decimal = ",", '.'
	b.Format.Delimited.HeaderLines = 1
	content := lines("time,ankle,calf", "0,40,20", "1,40,5,20,5", "2,41,20", "3,41,5,20,5")
	a := exact(t, b, content)
	want := "2 rows have more columns than the header or the first row (5 instead of 3), in lines 3, 5: check separator and decimal, or set columns:"
	if got := a.Wide.Sentence(); got != want || a.Frames != 4 || a.Clean() {
		t.Errorf("%d taken, clean %v: %q", a.Frames, a.Clean(), got)
	}
	b.Format.Delimited.Columns = 3
	if a := exact(t, b, content); a.Wide.Sentence() != "" || a.Refused[frame.BadFields] != 2 {
		t.Errorf("where the number is set: %q, refused %v", a.Wide.Sentence(), a.Refused)
	}
}
