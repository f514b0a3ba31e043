package record

import (
	"bytes"
	"errors"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/rules/alert"
)

// nan lets two numbers that are none be equal; infinities and signs of zero
// are told apart by the round trips below, which compare bits.
var nan = cmp.Comparer(same)

// again is what is read of what was written of something.
func again[T any](t *rapid.T, it interface{ Append([]byte) ([]byte, error) }, decode func([]byte) (T, error)) T {
	b, err := it.Append(nil)
	if err != nil {
		t.Fatal(err)
	}
	got, err := decode(b)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func TestBlocksComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := drawBlock(t)
		if got := again(t, b, DecodeBlock); got.Number != b.Number || got.After != b.After || !got.Equal(b) {
			t.Fatalf("wrote and read a different block:\n%s", cmp.Diff(b, got, nan))
		}
	})
}

// Room that was given back holds what comes next as well as fresh room does, whatever
// was in it, and takes nothing from a block that keeps its own.
func TestRoomIsUsedAgain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		read := func() (*Block, *Block) {
			b := drawBlock(t)
			return b, again(t, b, DecodeBlock)
		}
		keptOf, kept := read()
		for range 4 {
			want, got := read()
			if !got.Equal(want) || !kept.Equal(keptOf) {
				t.Fatalf("read %v, want %v; the one that is kept is %v", got, want, kept)
			}
			got.Recycle()
			if got.Recycle(); got.Scans[0].Raw != nil {
				t.Fatal("who gave room back has it still")
			}
		}
	})
}

// A block begins every longer one that has its scans, and no other.
func TestBegins(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := drawBlock(t)
		short := *b
		short.Scans = b.Scans[:rapid.IntRange(1, len(b.Scans)).Draw(t, "first")]
		short.Number, short.After = 7, 0
		if !short.Begins(b) {
			t.Fatal("the first scans of a block do not begin it")
		}
		if longer := len(short.Scans) < len(b.Scans); b.Begins(&short) == longer || b.Equal(&short) == longer {
			t.Fatal("a longer block begins a shorter one")
		}
		short.Scans = slices.Clone(short.Scans)
		i := rapid.IntRange(0, len(short.Scans)-1).Draw(t, "other")
		short.Scans[i].Arrived++
		if short.Begins(b) || b.Begins(&short) {
			t.Fatal("another scan is taken for the same")
		}
	})
}

func TestEntriesComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := drawEntry(t)
		if diff := cmp.Diff(e, again(t, &e, DecodeEntry), nan); diff != "" {
			t.Fatalf("wrote and read a different entry:\n%s", diff)
		}
	})
}

func TestTheRestComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawStretch(t)
		b, err := s.Append(nil)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := DecodeStretch(b); err != nil || !reflect.DeepEqual(got, s) {
			t.Fatalf("history: %v\n%s", err, cmp.Diff(s, got))
		}
		before := drawStretch(t).Points
		room := slices.Grow(slices.Clone(before), rapid.IntRange(0, 2*len(s.Points)).Draw(t, "room"))
		if got, err := AppendPoints(room, b); err != nil || !slices.Equal(got, slices.Concat(before, s.Points)) {
			t.Fatalf("history after other: %v\n%v", err, got)
		}
		if got, err := AppendPoints(room, b[:len(b)-1]); err == nil || !slices.Equal(got, before) {
			t.Fatalf("history that is cut: %v\n%v", err, got)
		}

		k := &Ticks{Number: rapid.Uint64().Draw(t, "number")}
		ord := uint64(0)
		for range rapid.IntRange(1, 9).Draw(t, "ticks") {
			ord += rapid.Uint64Range(1, 1<<50).Draw(t, "ord")
			k.Ticks = append(k.Ticks, Tick{ord, drawText(t, "place"), drawInstant(t, "at")})
		}
		if got := again(t, k, DecodeTicks); !reflect.DeepEqual(got, k) {
			t.Fatalf("ticks:\n%s", cmp.Diff(k, got))
		}

		body := rapid.SliceOf(rapid.Byte()).Draw(t, "body")
		if rapid.Bool().Draw(t, "gone") {
			body = nil
		}
		d := &Document{"d" + drawText(t, "name"), rapid.Uint64().Draw(t, "version"), drawInstant(t, "written"), body}
		if got := again(t, d, DecodeDocument); !got.Equal(d) {
			t.Fatalf("document:\n%s", cmp.Diff(d, &got))
		}

		n := &Snapshot{rapid.Uint64().Draw(t, "ord"), drawInstant(t, "at"), rapid.Uint64().Draw(t, "config"), body}
		if got := again(t, n, DecodeSnapshot); got.Ord != n.Ord || got.At != n.At || got.Config != n.Config || !bytes.Equal(got.Body, n.Body) {
			t.Fatalf("snapshot:\n%s", cmp.Diff(n, &got))
		}

		p := Progress{Position: 3, Ord: rapid.Uint64().Draw(t, "ord"), File: drawText(t, "file"), FirstAt: drawInstant(t, "first"), LastAt: drawInstant(t, "last")}
		for range rapid.IntRange(0, 3).Draw(t, "sources") {
			p.Sources = append(p.Sources, SourceProgress{drawText(t, "source"), rapid.Uint64().Draw(t, "number"), 5})
		}
		if got, err := DecodeProgress(p.Append(nil)); err != nil || !reflect.DeepEqual(got, p) {
			t.Fatalf("progress: %v\n%s", err, cmp.Diff(p, got))
		}
		r := &Retired{drawText(t, "source"), 3, rapid.Uint64().Draw(t, "last"), rapid.Uint64().Draw(t, "lastord")}
		if got, err := DecodeRetired(r.Append(nil)); err != nil || got != *r {
			t.Fatalf("note of a deletion: %v, %+v instead of %+v", err, got, r)
		}
	})
}

// What an alert says must not depend on somebody remembering to add a new field
// to its encoding.
func TestNoFieldOfAnAlertIsForgotten(t *testing.T) {
	var ev alert.Event
	fill(t, reflect.ValueOf(&ev).Elem(), "Event")
	e := Entry{Body: Transition{ev}}
	b, err := e.Append(nil)
	if err != nil {
		t.Fatal(err)
	}
	got, err := DecodeEntry(b)
	if err != nil || !reflect.DeepEqual(got.Body, e.Body) {
		t.Errorf("%v: an alert loses something when it is written:\n%s", err, cmp.Diff(e.Body, got.Body))
	}
}

// fill gives every field a value that is not its zero.
func fill(t *testing.T, v reflect.Value, name string) {
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			fill(t, v.Field(i), v.Type().Field(i).Name)
		}
	case reflect.String:
		v.SetString("the " + name)
	case reflect.Float64:
		v.SetFloat(float64(len(name)) + 0.25)
	case reflect.Int, reflect.Int64:
		v.SetInt(int64(len(name)) * 1e9)
	case reflect.Uint8:
		v.SetUint(2)
	case reflect.Bool:
		v.SetBool(true)
	default:
		t.Fatalf("field %s is a %s: teach this test to fill it", name, v.Kind())
	}
}

func TestWhatContradictsItselfIsNotWritten(t *testing.T) {
	scan := func(ord uint64, raw ...float64) Scan { return Scan{Ord: ord, Raw: raw} }
	at := sample.Instant(time.Minute)
	long := strings.Repeat("x", MaxSource+1)
	for name, x := range map[string]interface{ Append([]byte) ([]byte, error) }{
		"no source":          &Block{Scans: []Scan{scan(1)}},
		"long source":        &Block{Source: long, Scans: []Scan{scan(1)}},
		"no scans":           &Block{Source: "a/b"},
		"ordinal 0":          &Block{Source: "a/b", Scans: []Scan{scan(0)}},
		"equal ordinals":     &Block{Source: "a/b", Scans: []Scan{scan(2), scan(2)}},
		"ragged":             &Block{Source: "a/b", Scans: []Scan{scan(1, 1), scan(2, 1, 2)}},
		"channels":           &Block{Source: "a/b", Scans: []Scan{{Ord: 1, Raw: make([]float64, MaxChannels+1)}}},
		"no ticks":           &Ticks{},
		"ticks backwards":    &Ticks{Ticks: []Tick{{Ord: 2}, {Ord: 1}}},
		"an empty entry":     &Entry{},
		"not UTF-8":          &Entry{Body: Mark{Text: "\xff"}},
		"place not UTF-8":    &Entry{Place: "\xff", Body: Mark{}},
		"an endless entry":   &Entry{Body: Mark{Text: strings.Repeat("x", MaxEntry)}},
		"a nameless letter":  &Document{},
		"a giant snapshot":   &Snapshot{Body: make([]byte, MaxDocument+1)},
		"no points":          &Stretch{Tier: Second},
		"no such tier":       &Stretch{Tier: 9, Points: []Point{{}}},
		"a long place":       &Stretch{Place: long, Tier: Second, Points: []Point{{}}},
		"between steps":      &Stretch{Tier: Minute, Points: []Point{{At: at + 1}}},
		"points backwards":   &Stretch{Tier: Minute, Points: []Point{{At: at}, {At: 0}}},
		"a point said twice": &Stretch{Tier: Minute, Points: []Point{{At: at}, {At: at}}},
	} {
		before := []byte("before")
		if b, err := x.Append(before); !errors.Is(err, ErrInvalid) || string(b) != "before" {
			t.Errorf("%s: wrote %d bytes, error %v", name, len(b), err)
		}
	}
}

// A newer program's record must be told from a broken one, and one thing from
// another.
func TestErrorsOfDecoding(t *testing.T) {
	block, err := (&Block{Source: "a/b", Scans: []Scan{{Ord: 1, Rail: math.NaN()}}}).Append(nil)
	if err != nil {
		t.Fatal(err)
	}
	newer := append([]byte{}, block[:len(block)-4]...)
	newer[1] = blockVersion + 1
	newer = seal(newer, 0)
	zero := append([]byte{}, block[:len(block)-4]...)
	zero[1] = 0
	zero = seal(zero, 0)
	for name, c := range map[string]struct {
		b    []byte
		want error
	}{
		"newer":     {newer, ErrNewer},
		"version 0": {zero, ErrDamaged},
		"empty":     {nil, ErrDamaged},
		"cut":       {block[:len(block)-1], ErrDamaged},
	} {
		if _, err := DecodeBlock(c.b); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", name, err, c.want)
		}
	}
	for name, decode := range decoders {
		if name == "block" {
			continue
		}
		if err := decode(block); !errors.Is(err, ErrForm) {
			t.Errorf("a block as %s: %v, want %v", name, err, ErrForm)
		}
	}
}

var decoders = map[string]func([]byte) error{
	"block":    func(b []byte) error { _, err := DecodeBlock(b); return err },
	"ticks":    func(b []byte) error { _, err := DecodeTicks(b); return err },
	"entry":    func(b []byte) error { _, err := DecodeEntry(b); return err },
	"document": func(b []byte) error { _, err := DecodeDocument(b); return err },
	"snapshot": func(b []byte) error { _, err := DecodeSnapshot(b); return err },
	"stretch":  func(b []byte) error { _, err := DecodeStretch(b); return err },
	"progress": func(b []byte) error { _, err := DecodeProgress(b); return err },
	"retired":  func(b []byte) error { _, err := DecodeRetired(b); return err },
}

// Every flipped bit and every cut is noticed, in every form.
func TestEveryFlippedBitIsNoticed(t *testing.T) {
	for name, g := range goldens() {
		whole, err := g.thing.Append(nil)
		if err != nil {
			t.Fatal(err)
		}
		decode := decoders[g.form]
		if err := decode(whole); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		for i := range 8 * len(whole) {
			whole[i/8] ^= 1 << (i % 8)
			if err := decode(whole); !errors.Is(err, ErrDamaged) {
				t.Fatalf("%s with bit %d flipped: %v", name, i, err)
			}
			whole[i/8] ^= 1 << (i % 8)
		}
		for n := range whole {
			if err := decode(whole[:n]); !errors.Is(err, ErrDamaged) {
				t.Fatalf("%s cut to %d bytes: %v", name, n, err)
			}
		}
	}
}
