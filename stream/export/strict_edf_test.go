package export

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// What follows reads EDF+ a second time, from the text of the specification and
// with nothing of the package's own reader: by fixed offsets, all at once, and
// without mercy. It fails the test at the first thing that is not as it has to
// be.

type plainEDF struct {
	patient, recording, date, time, kind string
	records                              int
	duration                             float64
	label, transducer, dimension, filter []string
	pmin, pmax, dmin, dmax               []float64
	count                                []int
	onset                                []float64   // of each record
	digital                              [][]int     // of each signal, through all records
	physical                             [][]float64 // NaN for -32768
	tal                                  []plainTAL
}

type plainTAL struct {
	onset, duration float64
	text            string
}

func readPlainEDF(t *testing.T, path string) *plainEDF {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	die := func(format string, args ...any) {
		t.Helper()
		t.Fatalf("%s: %s", path, fmt.Sprintf(format, args...))
	}
	take := func(at, width int) string {
		if at+width > len(b) {
			die("ends at %d, in a field at %d", len(b), at)
		}
		s := string(b[at : at+width])
		for _, c := range []byte(s) {
			if c < 32 || c > 126 {
				die("byte %d in the header field at %d", c, at)
			}
		}
		if s[0] == ' ' && strings.Trim(s, " ") != "" {
			die("field at %d is not at the left: %q", at, s)
		}
		return strings.TrimRight(s, " ")
	}
	number := func(at, width int) float64 {
		s := take(at, width)
		v, err := strconv.ParseFloat(s, 64)
		if err != nil || strings.ContainsAny(s, "eE+,") {
			die("number %q at %d", s, at)
		}
		return v
	}
	whole := func(at, width int) int {
		n, err := strconv.Atoi(take(at, width))
		if err != nil {
			die("%v at %d", err, at)
		}
		return n
	}
	e := &plainEDF{
		patient: take(8, 80), recording: take(88, 80), date: take(168, 8), time: take(176, 8),
		kind: take(192, 44), records: whole(236, 8), duration: number(244, 8),
	}
	ns := whole(252, 4)
	if take(0, 8) != "0" || whole(184, 8) != 256*(ns+1) || (e.kind != "EDF+C" && e.kind != "EDF+D") {
		die("version %q, header of %q bytes for %d signals, kind %q", take(0, 8), take(184, 8), ns, e.kind)
	}
	// Startdate dd-MMM-yyyy has to be the date of the header.
	day := strings.Fields(e.recording)
	months := "JAN01FEB02MAR03APR04MAY05JUN06JUL07AUG08SEP09OCT10NOV11DEC12"
	if len(day) < 5 || day[0] != "Startdate" || len(day[1]) != 11 {
		die("recording field %q", e.recording)
	}
	m := strings.Index(months, day[1][3:6])
	if m < 0 || day[1][:2]+"."+months[m+3:m+5]+"."+day[1][9:] != e.date {
		die("start date %q, and %q in the recording field", e.date, day[1])
	}
	if len(strings.Fields(e.patient)) < 4 {
		die("patient field %q", e.patient)
	}
	at := 256
	record := 0
	for _, field := range []struct {
		width int
		keep  func(at int)
	}{
		{16, func(at int) { e.label = append(e.label, take(at, 16)) }},
		{80, func(at int) { e.transducer = append(e.transducer, take(at, 80)) }},
		{8, func(at int) { e.dimension = append(e.dimension, take(at, 8)) }},
		{8, func(at int) { e.pmin = append(e.pmin, number(at, 8)) }},
		{8, func(at int) { e.pmax = append(e.pmax, number(at, 8)) }},
		{8, func(at int) { e.dmin = append(e.dmin, float64(whole(at, 8))) }},
		{8, func(at int) { e.dmax = append(e.dmax, float64(whole(at, 8))) }},
		{80, func(at int) { e.filter = append(e.filter, take(at, 80)) }},
		{8, func(at int) { e.count = append(e.count, whole(at, 8)) }},
		{32, func(at int) { take(at, 32) }},
	} {
		for range ns {
			field.keep(at)
			at += field.width
		}
	}
	labels := map[string]bool{}
	for s := range ns {
		if labels[e.label[s]] || e.label[s] == "" {
			die("label %q twice or empty", e.label[s])
		}
		labels[e.label[s]] = true
		if e.dmin[s] < -32768 || e.dmax[s] > 32767 || e.dmin[s] >= e.dmax[s] || e.pmin[s] == e.pmax[s] || e.count[s] < 1 {
			die("signal %q: %v to %v is %v to %v, %d samples", e.label[s], e.dmin[s], e.dmax[s], e.pmin[s], e.pmax[s], e.count[s])
		}
		record += 2 * e.count[s]
	}
	if record > 61440 || e.duration <= 0 || e.label[ns-1] != "EDF Annotations" {
		die("records of %d bytes and %v s, last signal %q", record, e.duration, e.label[ns-1])
	}
	if at != 256*(ns+1) || len(b) != at+record*e.records {
		die("%d bytes, want %d and %d records of %d", len(b), at, e.records, record)
	}
	e.digital, e.physical = make([][]int, ns-1), make([][]float64, ns-1)
	for n := range e.records {
		for s := range ns - 1 {
			for range e.count[s] {
				d := int(b[at]) | int(b[at+1])<<8
				if d >= 1<<15 {
					d -= 1 << 16
				}
				at += 2
				v := e.pmin[s] + (float64(d)-e.dmin[s])*(e.pmax[s]-e.pmin[s])/(e.dmax[s]-e.dmin[s])
				if d == -32768 {
					v = math.NaN()
				}
				e.digital[s], e.physical[s] = append(e.digital[s], d), append(e.physical[s], v)
			}
		}
		size := 2 * e.count[ns-1]
		e.texts(b[at:at+size], n, die)
		at += size
	}
	return e
}

// texts reads the annotations of record n.
func (e *plainEDF) texts(b []byte, n int, die func(string, ...any)) {
	for i := 0; len(b) > 0 && b[0] != 0; i++ {
		end := bytes.IndexByte(b, 0)
		if end < 0 {
			die("record %d: list %d has no end", n, i)
		}
		parts := strings.Split(string(b[:end]), "\x14")
		b = b[end+1:]
		stamp := strings.Split(parts[0], "\x15")
		if len(parts) < 3 || parts[len(parts)-1] != "" || len(stamp) > 2 {
			die("record %d: list %q", n, parts)
		}
		if stamp[0][0] != '+' && stamp[0][0] != '-' {
			die("record %d: onset %q", n, stamp[0])
		}
		onset, err := strconv.ParseFloat(stamp[0], 64)
		if err != nil {
			die("record %d: %v", n, err)
		}
		var duration float64
		if len(stamp) == 2 {
			if duration, err = strconv.ParseFloat(stamp[1], 64); err != nil {
				die("record %d: %v", n, err)
			}
		}
		if i == 0 {
			if len(parts) != 3 || parts[1] != "" || len(stamp) != 1 {
				die("record %d begins with the list %q", n, parts)
			}
			e.begins(onset, n, die)
			continue
		}
		for _, text := range parts[1 : len(parts)-1] {
			e.tal = append(e.tal, plainTAL{onset, duration, text})
		}
	}
	if strings.Trim(string(b), "\x00") != "" {
		die("record %d: %q after its lists", n, b)
	}
}

func (e *plainEDF) begins(onset float64, n int, die func(string, ...any)) {
	const small = 1e-9
	switch {
	case n == 0 && (onset < 0 || onset >= 1):
		die("first record begins at %v", onset)
	case n > 0 && onset < e.onset[n-1]+e.duration-small:
		die("record %d begins at %v, the former at %v", n, onset, e.onset[n-1])
	case n > 0 && e.kind == "EDF+C" && onset > e.onset[n-1]+e.duration+small:
		die("record %d begins at %v after %v in a continuous file", n, onset, e.onset[n-1])
	}
	e.onset = append(e.onset, onset)
}
