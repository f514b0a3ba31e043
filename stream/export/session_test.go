package export

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/stream/export/edf"
)

// Holds that a code stands for the time of its session and for no other: the header of a file
// has it where one session covers all of the stretch, and each session is an event, cut to the
// stretch, from its beginning for as long as it lasted.
func TestACodeStandsForItsSession(t *testing.T) {
	s := func(id string, from, to time.Duration) Session {
		return Session{"K-" + id, "s-" + id, after(from), after(to)}
	}
	const sec = time.Second
	for name, tt := range map[string]struct {
		sessions []Session
		whose    string
		sat      string // start, length, id, code of each
	}{
		"none":           {nil, "", ""},
		"covers":         {[]Session{s("1", -sec, 11*sec)}, "K-1 s-1", "0 10 s-1 K-1"},
		"exactly":        {[]Session{s("1", 0, 10*sec)}, "K-1 s-1", "0 10 s-1 K-1"},
		"begins inside":  {[]Session{s("1", 1, 10*sec)}, "", "0.000000001 9.999999999 s-1 K-1"},
		"ends inside":    {[]Session{s("1", 0, 10*sec-1)}, "", "0 9.999999999 s-1 K-1"},
		"two":            {[]Session{s("1", -sec, 2*sec), s("2", 5*sec, 20*sec)}, "", "0 2 s-1 K-1; 5 5 s-2 K-2"},
		"not ended":      {[]Session{{"K-1", "s-1", after(3 * sec), sample.Never}}, "", "3 7 s-1 K-1"},
		"over before it": {[]Session{s("1", -9*sec, 0)}, "", ""},
	} {
		r := bench()
		r.Header.Person, r.Header.Session, r.Header.Sessions = "", "", tt.sessions
		folder := t.TempDir()
		csv, err := CSV(t.Context(), r, folder, "k07", Options{})
		if err != nil {
			t.Fatal(err)
		}
		var sat []string
		last := -1.0
		for _, row := range table(t, csv[3].Path)[1:] {
			var at float64
			if _, err := fmt.Sscan(row[1], &at); err != nil || at < last {
				t.Errorf("%s: an event of %s s comes after one of %v s", name, row[1], last)
			}
			if last = at; row[3] == "session" {
				sat = append(sat, strings.Join([]string{row[1], row[2], row[4], row[6]}, " "))
			}
		}
		if got := strings.Join(sat, "; "); got != tt.sat {
			t.Errorf("%s: CSV has the sessions %q, want %q", name, got, tt.sat)
		}
		about := map[string]string{}
		for _, row := range table(t, csv[4].Path) {
			about[row[0]] = row[1]
		}
		if got := strings.TrimSpace(about["person"] + " " + about["session"]); got != tt.whose {
			t.Errorf("%s: CSV is of %q, want %q", name, got, tt.whose)
		}

		parquet, err := Parquet(t.Context(), r, folder, "k07", Options{})
		if err != nil {
			t.Fatal(err)
		}
		person, _ := openParquet(t, parquet[1].Path).Lookup("weald.person")
		session, _ := openParquet(t, parquet[1].Path).Lookup("weald.session")
		if got := strings.TrimSpace(person + " " + session); got != tt.whose {
			t.Errorf("%s: Parquet is of %q, want %q", name, got, tt.whose)
		}

		f, e := writeEDF(t, r, EDFOptions{})
		if got := strings.TrimSpace(strings.ReplaceAll(strings.Fields(e.patient)[0]+" "+strings.Fields(e.recording)[2], "X", "")); got != tt.whose {
			t.Errorf("%s: EDF+ is of %q, want %q", name, got, tt.whose)
		}
		sat = nil
		for _, a := range e.tal {
			if id, code, is := strings.Cut(strings.TrimPrefix(a.text, "session "), " ("); is && strings.HasPrefix(a.text, "session ") {
				sat = append(sat, fmt.Sprintf("%v %v %s %s", a.onset, a.duration, id, strings.TrimSuffix(code, ")")))
			}
		}
		if want := strings.ReplaceAll(tt.sat, "0.000000001", "1e-09"); strings.Join(sat, "; ") != want {
			t.Errorf("%s: EDF+ has the sessions %q, want %q", name, sat, want)
		}
		back, _, err := ReadEDF(f.Path, edf.Strict, nil)
		if err != nil {
			t.Fatal(err)
		}
		sat = nil
		for a := range back.Annotations {
			if a.Kind == Sat {
				sat = append(sat, fmt.Sprint(a.At.Sub(start).Seconds(), a.Duration.Seconds(), " "+a.What+" "+a.Subject))
			}
		}
		if want := strings.ReplaceAll(tt.sat, "0.000000001", "1e-09"); strings.Join(sat, "; ") != want {
			t.Errorf("%s: EDF+ is read back with the sessions %q, want %q", name, sat, want)
		}
	}
}
