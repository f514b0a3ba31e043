package sqlite

import (
	"context"
	"testing"

	"weald/stream/record"
)

func TestSmoke(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	s, err := Open(ctx, dir, Options{Reserve: 1 << 20})
	if err != nil {
		t.Fatal(err)
	}
	p, err := s.Append(ctx, record.Entry{Body: record.Mark{What: "x"}})
	if err != nil || p != 1 {
		t.Fatal(p, err)
	}
	b := []record.Block{{Source: "a/b", Scans: []record.Scan{{Ord: 1, At: 1e18, Arrived: 1e18, Raw: []float64{1}}}}}
	if err := s.AppendReadings(ctx, b, []record.Tick{{Ord: 2, At: 1e18}}); err != nil {
		t.Fatal(err)
	}
	for in, err := range s.Inputs(ctx, 1, 10) {
		t.Log(in, err)
	}
	for f, err := range s.Check(ctx) {
		t.Error(f, err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s, err = Open(ctx, dir, Options{Reserve: 1 << 20})
	if err != nil {
		t.Fatal(err)
	}
	h, _ := s.Head(ctx)
	t.Log(h)
	for f, err := range s.Check(ctx) {
		t.Error(f, err)
	}
	s.Close()
}
