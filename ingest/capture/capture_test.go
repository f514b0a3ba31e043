package capture

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"weald/ingest/sample"
)

var header = Header{Bridge: "trolley", Format: "line", Started: time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)}

// written returns a capture of the chunks, one millisecond apart.
func written(t testing.TB, chunks ...[]byte) []byte {
	t.Helper()
	var file bytes.Buffer
	w, err := NewWriter(&file, header)
	if err != nil {
		t.Fatal(err)
	}
	for i, c := range chunks {
		if err := w.Record(sample.Instant(i)*1e6, c); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if w.Size() != int64(file.Len()) {
		t.Fatalf("Size says %d, the file has %d bytes", w.Size(), file.Len())
	}
	return file.Bytes()
}

// readAll returns the records of a capture and the errors met.
func readAll(r io.Reader) (got []Record, errs []error) {
	c, err := NewReader(r)
	if err != nil {
		return nil, []error{err}
	}
	for rec, err := range c.Records() {
		if err != nil {
			errs = append(errs, err)
			continue
		}
		got = append(got, Record{rec.At, bytes.Clone(rec.Bytes), rec.Again})
	}
	return got, errs
}

func TestWhatIsWrittenIsRead(t *testing.T) {
	large := bytes.Repeat([]byte{1, 2, 3}, MaxRecord) // three records' worth
	file := written(t, []byte("w1,0\r\n"), nil, []byte{0}, large)
	want := []Record{
		{0, []byte("w1,0\r\n"), false}, {1e6, []byte{}, false}, {2e6, []byte{0}, false},
		{3e6, large[:MaxRecord], false}, {3e6, large[MaxRecord : 2*MaxRecord], false}, {3e6, large[2*MaxRecord:], false},
	}
	for name, r := range map[string]io.Reader{
		"at once":      bytes.NewReader(file),
		"halves":       iotest.HalfReader(bytes.NewReader(file)),
		"data and EOF": iotest.DataErrReader(bytes.NewReader(file)),
	} {
		got, errs := readAll(r)
		if errs != nil {
			t.Fatalf("%s: %v", name, errs)
		}
		if !slices.EqualFunc(got, want, func(a, b Record) bool { return a.At == b.At && bytes.Equal(a.Bytes, b.Bytes) }) {
			t.Errorf("%s: other records than were written", name)
		}
	}
	c, err := NewReader(bytes.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	if c.Header() != header {
		t.Errorf("header %v, want %v", c.Header(), header)
	}
}

// What a link marked is marked when it is read, in pieces too.
func TestMarks(t *testing.T) {
	var file bytes.Buffer
	h := header
	h.Again = true
	w, err := NewWriter(&file, h)
	if err != nil {
		t.Fatal(err)
	}
	w.Record(1, []byte("one"))
	w.Again(2, []byte("one"))
	w.Again(3, make([]byte, MaxRecord+1))
	w.Record(4, []byte("two"))
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	got, errs := readAll(bytes.NewReader(file.Bytes()))
	var marks []bool
	for _, rec := range got {
		marks = append(marks, rec.Again)
	}
	if errs != nil || !slices.Equal(marks, []bool{false, true, true, true, false}) {
		t.Errorf("marks %v, errors %v", marks, errs)
	}
	c, err := NewReader(bytes.NewReader(file.Bytes()))
	if err != nil || c.Header() != h {
		t.Errorf("header %v, %v", c.Header(), err)
	}
}

func TestDamageCostsOneRecord(t *testing.T) {
	file := written(t, []byte("one"), []byte("two"), []byte("three"))
	at := bytes.Index(file, []byte("two"))
	file[at]++
	got, errs := readAll(bytes.NewReader(file))
	if len(got) != 2 || string(got[0].Bytes) != "one" || string(got[1].Bytes) != "three" {
		t.Errorf("records around the damaged one: %v", got)
	}
	var bad *CorruptError
	if len(errs) != 1 || !errors.As(errs[0], &bad) || bad.Record != 2 || bad.Offset != int64(at-prefix) {
		t.Errorf("errors %v, want one about record 2 at byte %d", errs, at-prefix)
	}

	// Where the length is hit, nothing leads on.
	file = written(t, []byte("one"), []byte("two"), []byte("three"))
	file[at-1] = 0xff
	got, errs = readAll(bytes.NewReader(file))
	if len(got) != 1 || len(errs) != 1 || !strings.Contains(errs[0].Error(), "what follows is lost") {
		t.Errorf("wrong length: records %v, errors %v", got, errs)
	}
}

func TestOtherFiles(t *testing.T) {
	for in, want := range map[string]error{
		"":                                       ErrTorn,
		"WCA":                                    ErrTorn,
		"WCAP1\n":                                ErrTorn,
		"WCAP1\n{\"bridge\"":                     ErrTorn,
		"t,p\n0,1\n":                             ErrNoCapture,
		"WCAP2\n{}\n":                            ErrNoCapture,
		magic + strings.Repeat("x", 2*maxHeader): ErrNoCapture,
	} {
		if _, errs := readAll(strings.NewReader(in)); len(errs) != 1 || !errors.Is(errs[0], want) {
			t.Errorf("%.20q: %v, want %v", in, errs, want)
		}
	}
	if _, errs := readAll(strings.NewReader(magic + "{\n")); len(errs) != 1 {
		t.Errorf("broken JSON: %v", errs)
	}
	broken := errors.New("disk on fire")
	_, errs := readAll(io.MultiReader(bytes.NewReader(written(t, []byte("one"))), iotest.ErrReader(broken)))
	if len(errs) != 1 || !errors.Is(errs[0], broken) {
		t.Errorf("a reader's own error came as %v", errs)
	}
}

func TestCreateOverwritesNothing(t *testing.T) {
	path := filepath.Join(t.TempDir(), "trolley.wcap")
	for i := range 2 {
		w, err := Create(path, header)
		if err != nil {
			t.Fatal(err)
		}
		if err := w.Record(0, fmt.Append(nil, i)); err != nil {
			t.Fatal(err)
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
	}
	files, _ := filepath.Glob(filepath.Join(filepath.Dir(path), "*"))
	if len(files) != 2 {
		t.Fatalf("files %v, want two", files)
	}
	for _, name := range files {
		f, err := os.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if got, errs := readAll(f); len(got) != 1 || errs != nil {
			t.Errorf("%s: %v, %v", name, got, errs)
		}
		if info, _ := f.Stat(); info.Mode().Perm() != 0o600 {
			t.Errorf("%s may be read by others: %v", name, info.Mode())
		}
	}
	if _, err := Create(path, header); err == nil {
		t.Error("a third file of the same start overwrote one")
	}
	if _, err := Create(filepath.Join(path, "below"), header); err == nil {
		t.Error("a path through a file was made")
	}
}

// failing lets n bytes through, then none.
type failing struct{ n int }

func (f *failing) Write(p []byte) (int, error) {
	if f.n -= len(p); f.n < 0 {
		return 0, errors.New("no space left")
	}
	return len(p), nil
}

func TestAFullDiskIsSaidFromThenOn(t *testing.T) {
	w, err := NewWriter(&failing{n: 200}, header)
	if err != nil {
		t.Fatal(err)
	}
	_ = w.Record(0, make([]byte, 300))
	first := w.Flush()
	if first == nil {
		t.Fatal("no error")
	}
	if again := w.Record(0, nil); again != first {
		t.Errorf("later: %v, want the first error %v", again, first)
	}
}

// FuzzCut states the law of a power cut: every record before the cut comes
// back, then ErrTorn, or nothing where the cut fell between two records.
func FuzzCut(f *testing.F) {
	f.Add([]byte("w1,0,1,2,3*00\r\n"), uint(3), uint(40))
	f.Add([]byte{0, 0, 0}, uint(1), uint(1))
	f.Add([]byte{}, uint(0), uint(100))
	f.Fuzz(func(t *testing.T, b []byte, split, cut uint) {
		var chunks [][]byte
		for rest := b; ; {
			n := min(len(rest), int(split%7)+1)
			chunks = append(chunks, rest[:n])
			if rest = rest[n:]; len(rest) == 0 || len(chunks) == 50 {
				break
			}
		}
		whole := written(t, chunks...)
		torn := whole[:cut%uint(len(whole)+1)]
		got, errs := readAll(bytes.NewReader(torn))
		end := len(written(t))
		var want []Record
		for i, c := range chunks {
			if end += prefix + len(c) + suffix; end > len(torn) {
				break
			}
			want = append(want, Record{sample.Instant(i) * 1e6, bytes.Clone(c), false})
		}
		if len(got) != len(want) {
			t.Fatalf("%d of %d whole records before the cut came back", len(got), len(want))
		}
		for i := range got {
			if got[i].At != want[i].At || !bytes.Equal(got[i].Bytes, want[i].Bytes) {
				t.Fatalf("record %d is %v, want %v", i+1, got[i], want[i])
			}
		}
		whole = written(t, chunks[:len(want)]...)
		switch between := len(whole) == len(torn); {
		case between && errs != nil:
			t.Fatalf("a cut between two records gave %v", errs)
		case !between && (len(errs) != 1 || !errors.Is(errs[0], ErrTorn)):
			t.Fatalf("a cut inside a record gave %v, want ErrTorn", errs)
		}
	})
}

// FuzzRecords feeds any bytes at all: it must end, and yield no record that
// does not check.
func FuzzRecords(f *testing.F) {
	f.Add(written(f, []byte("one"), []byte("two")))
	f.Add([]byte(magic + "{}\n\x00\x00\x00\x00\x00\x00\x00\x00\xff\xff\xff\xff"))
	f.Fuzz(func(t *testing.T, b []byte) {
		got, _ := readAll(bytes.NewReader(b))
		if len(got) == 0 {
			return
		}
		var again bytes.Buffer
		w, _ := NewWriter(&again, header)
		skip := again.Len()
		for _, rec := range got {
			if rec.Again {
				_ = w.Again(rec.At, rec.Bytes)
			} else {
				_ = w.Record(rec.At, rec.Bytes)
			}
		}
		_ = w.Flush()
		for rec := again.Bytes()[skip:]; len(rec) > 0; {
			n := prefix + int(rec[8]) + int(rec[9])<<8 + int(rec[10])<<16 + suffix
			if !bytes.Contains(b, rec[:n]) {
				t.Fatalf("record %x is not in the input", rec[:n])
			}
			rec = rec[n:]
		}
	})
}

func BenchmarkRecords(b *testing.B) {
	chunk := bytes.Repeat([]byte{7}, 3100)
	chunks := make([][]byte, 1000)
	for i := range chunks {
		chunks[i] = chunk
	}
	file := written(b, chunks...)
	b.SetBytes(int64(len(file)))
	b.ReportAllocs()
	for b.Loop() {
		c, err := NewReader(bytes.NewReader(file))
		if err != nil {
			b.Fatal(err)
		}
		for _, err := range c.Records() {
			if err != nil {
				b.Fatal(err)
			}
		}
	}
}
