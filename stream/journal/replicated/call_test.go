package replicated

import (
	"bytes"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

var noon = sample.At(time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC))

func calls() map[string]*call {
	return map[string]*call{
		"entries":  {entries: []record.Entry{journaltest.Mark("turned"), journaltest.Act(7)}},
		"readings": {blocks: []record.Block{journaltest.Block("hub/a", 1, 2, 3, noon), journaltest.Block("hub/b", 2, 2, 3, noon)}, ticks: []record.Tick{{Ord: 9, At: noon}}},
		"ticks":    {ticks: []record.Tick{{Ord: 3, At: noon, Place: "bed-4"}}},
		"document": {document: &record.Document{Name: "regions", Version: 0, Written: noon, Body: []byte("{}")}},
		"gone":     {document: &record.Document{Name: "regions", Version: 4, Written: noon}},
		"snapshot": {snapshot: &record.Snapshot{Ord: 8, At: noon, Config: 1, Body: []byte("state")}},
		"history": {stretches: []record.Stretch{{Place: "bed-4", Series: "mat.peak", Tier: record.Second,
			Points: []record.Point{{At: noon, Min: 1, Mean: 2, Max: 3}}}}},
	}
}

func TestCallsComeBackAsTheyWere(t *testing.T) {
	for name, c := range calls() {
		body, err := c.append(nil)
		if err != nil {
			t.Fatal(name, err)
		}
		back, err := decode(body)
		if err != nil {
			t.Fatal(name, err)
		}
		if len(back.entries) != len(c.entries) || len(back.blocks) != len(c.blocks) || len(back.ticks) != len(c.ticks) || len(back.stretches) != len(c.stretches) ||
			c.document != nil && !back.document.Equal(c.document) {
			t.Errorf("%s: %+v came back as %+v", name, c, back)
		}
		again, err := back.append(nil)
		if err != nil || !bytes.Equal(again, body) {
			t.Errorf("%s is written differently when it has been read: %v", name, err)
		}
	}
}

func FuzzCall(f *testing.F) {
	for _, c := range calls() {
		body, err := c.append(nil)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(body)
	}
	f.Add([]byte{callVersion + 1, 1, 0})
	f.Fuzz(func(t *testing.T, b []byte) {
		c, err := decode(b)
		if err != nil {
			return
		}
		body, err := c.append(nil)
		if err != nil {
			t.Skip() // what a program never writes may be whole, and out of bounds
		}
		if _, err := decode(body); err != nil {
			t.Errorf("%v, of what was just written", err)
		}
	})
}

func FuzzLabel(f *testing.F) {
	f.Add("0.AbC.3.1.2")
	f.Add("1...1.1")
	f.Fuzz(func(t *testing.T, text string) {
		l, err := parseLabel(text)
		if err != nil {
			return
		}
		if again, err := parseLabel(l.String()); err != nil || again != l {
			t.Errorf("%q is %+v, and that %+v, %v", text, l, again, err)
		}
	})
}

// The parts of calls of several writers lie between each other; what is begun anew, what
// begins in the middle and what never ends does not happen.
func TestParts(t *testing.T) {
	p := partials{}
	var whole []string
	seq := uint64(0)
	add := func(writer string, call uint64, part, parts int, data string) {
		seq++
		if body, ok := p.add(label{0, writer, call, part, parts}, seq, []byte(data)); ok {
			whole = append(whole, string(body))
		}
	}
	next := func(want uint64) {
		t.Helper()
		if got := p.next(seq); got != want {
			t.Errorf("after message %d a start reads from %d on, want %d", seq, got, want)
		}
	}
	add("a", 1, 1, 1, "one")
	next(2)
	add("a", 2, 1, 3, "t")
	next(2)
	add("b", 1, 1, 2, "fo")
	add("a", 2, 2, 3, "w")
	add("b", 2, 1, 1, "three")
	add("a", 2, 3, 3, "o")
	next(3)
	add("b", 1, 2, 2, "ur")
	next(8)
	add("c", 5, 2, 2, "its first part was before this store began")
	add("a", 3, 1, 2, "never ends")
	add("a", 4, 1, 2, "begun ")
	add("a", 4, 1, 2, "begun")
	add("a", 4, 2, 2, " anew")
	add("b", 3, 1, 3, "a hole")
	add("b", 3, 3, 3, "in it")
	next(seq - 1)
	seq += reach
	add("c", 6, 1, 1, "much later")
	next(seq + 1)
	if want := "one three two four begun anew much later"; joined(whole) != want {
		t.Errorf("whole are %q, want %q", joined(whole), want)
	}
}

func joined(all []string) (out string) {
	for i, s := range all {
		if i > 0 {
			out += " "
		}
		out += s
	}
	return out
}

func TestCut(t *testing.T) {
	for _, n := range []int{0, 1, 4, 5, 8, 9} {
		body := bytes.Repeat([]byte{7}, n)
		parts := cut(body, 4)
		if got := bytes.Join(parts, nil); !bytes.Equal(got, body) || len(parts) != max(1, (n+3)/4) {
			t.Errorf("%d bytes in %d parts, which are %d bytes", n, len(parts), len(got))
		}
	}
}
