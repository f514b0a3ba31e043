package journal

import (
	"errors"
	"fmt"
	"iter"
	"slices"
	"testing"
)

func TestReadable(t *testing.T) {
	broken := errors.New("broken")
	hole := &Loss{First: 2, Last: 2}
	all := func(yield func(int, error) bool) {
		_ = yield(1, nil) && yield(0, fmt.Errorf("wrapped: %w", hole)) && yield(3, nil) && yield(0, broken) && yield(5, nil)
	}
	var lost []*Loss
	for _, c := range []func(*Loss){nil, func(l *Loss) { lost = append(lost, l) }} {
		var got []string
		for v, err := range Readable(iter.Seq2[int, error](all), c) {
			got = append(got, fmt.Sprint(v, err))
		}
		if want := []string{"1 <nil>", "3 <nil>", "0 broken", "5 <nil>"}; !slices.Equal(got, want) {
			t.Errorf("got %v, want %v", got, want)
		}
	}
	if len(lost) != 1 || lost[0] != hole {
		t.Errorf("lost %v, want %v", lost, hole)
	}
	for range Readable(iter.Seq2[int, error](all), nil) {
		break // and all may be left early
	}
}
