package export

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"weald/stream/export/edf"
)

// Many notes, long notes, notes before the first record, in a gap, and long
// after the last: all are in the file, whole and with their time.
func TestEveryAnnotationIsInTheFile(t *testing.T) {
	long := strings.Repeat("the heel was red — blanching; ", 60)
	var all []Annotation
	for i := range 40 {
		all = append(all, Annotation{
			At: after(time.Duration(i)*300*time.Millisecond - 2*time.Second), Kind: Mark, What: "noted", Text: fmt.Sprintf("note %d", i),
		})
	}
	all = append(all,
		Annotation{At: after(time.Hour), Kind: Mark, What: "noted", Text: long},
		Annotation{At: after(time.Hour), Kind: Mark, What: "noted", Text: "the same instant"},
		Annotation{At: after(2 * time.Hour), Kind: Fault, What: "begun", Text: "bridge trolley: not there"},
	)
	r := bench()
	r.Annotations = notes(all...)
	f, e := writeEDF(t, r, EDFOptions{})
	if len(e.tal) != f.Annotations || f.Annotations <= len(all) {
		t.Errorf("%d annotations, said to be %d, of %d", len(e.tal), f.Annotations, len(all))
	}
	back, _, err := ReadEDF(f.Path, edf.Strict, nil)
	if err != nil {
		t.Fatal(err)
	}
	got := slices.Collect(func(yield func(Annotation) bool) {
		for a, err := range back.Annotations {
			if err != nil {
				t.Error(err)
			}
			if !yield(a) {
				return
			}
		}
	})
	if len(got) != len(all) {
		t.Fatalf("%d annotations come back, want %d", len(got), len(all))
	}
	for _, a := range all {
		if !slices.Contains(got, a) {
			t.Errorf("lost: %+v", a)
		}
	}
}

// Room for annotations is paid for in every record: one note does not make a
// long file larger by more than its own size in each.
func TestRoomForAnnotationsIsSmall(t *testing.T) {
	r := longRecording(t, 0.5, 2, 10)
	without, _ := writeEDF(t, r, EDFOptions{})
	r.Annotations = notes(Annotation{At: r.Header.End, Kind: Mark, What: "noted", Text: strings.Repeat("x", 5000)})
	with, e := writeEDF(t, r, EDFOptions{})
	if more := (with.Bytes - without.Bytes) / int64(with.Records); more > pieceSize+20 || len(e.tal) < 5000/pieceSize {
		t.Errorf("%d bytes more a record, %d annotations", more, len(e.tal))
	}
}

func TestTooManyAnnotationsForTheFile(t *testing.T) {
	r := longRecording(t, 1.0/3600, 2, 10)
	r.Annotations = func(yield func(Annotation, error) bool) {
		for range 1000 {
			if !yield(Annotation{At: start, Text: strings.Repeat("x", 100)}, nil) {
				return
			}
		}
	}
	if _, err := EDF(t.Context(), r, t.TempDir(), "x", EDFOptions{}); err == nil || !strings.Contains(err.Error(), "1000 annotations do not fit") {
		t.Error(err)
	}
}

func TestPiecesThatMissOneStay(t *testing.T) {
	in := []edf.Annotation{{Onset: 1, Text: "(1/3) a"}, {Onset: 1, Text: "(3/3) c"}, {Onset: 2, Text: "(2/3) b"}, {Onset: 3, Text: "(1/1) z"}}
	if got := join(in); len(got) != 4 || got[0] != in[0] || got[3].Text != "z" {
		t.Errorf("%q", got)
	}
	reversed := []edf.Annotation{{Text: "(3/3) c"}, {Text: "(2/3) b"}, {Text: "(1/3) a"}, {Text: "alone"}}
	if got := join(reversed); len(got) != 2 || got[0].Text != "abc" || got[1].Text != "alone" {
		t.Errorf("%q", got)
	}
}

func TestLabels(t *testing.T) {
	tracks := []Track{{Signals: []Signal{
		{Name: "left_shoulder.peak"}, {Name: "left_shoulder.pressure"}, {Name: "left_shoulder.mean"}, {Name: "größe"}, {Name: edf.AnnotationsLabel},
	}}}
	want := []string{"left_shoulder.pe", "left_shoulder.pr", "left_shoulder.me", "gr??e", "EDF Annotation~2"}
	if got := labels(tracks); !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	tracks = []Track{{Signals: []Signal{{Name: "left_shoulder.pressure"}, {Name: "left_shoulder.present"}}}, {Signals: []Signal{{Name: "left_shoulder.pr"}}}}
	want = []string{"left_shoulder.pr", "left_shoulder.~2", "left_shoulder.~3"}
	if got := labels(tracks); !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
}
