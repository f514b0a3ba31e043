package sqlite

import (
	"database/sql"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"weald/stream/journal"
	"weald/stream/journal/journaltest"
)

// Any blocks of any sources and days are gone or damaged. Whoever reads all inputs, and
// whoever has the record checked, is told of exactly those, each once. Whoever reads some
// is told of nothing else, and of all that lie between two that are there; and every other
// input comes, once and in order. The same holds of readings of one source.
func TestRandomLossesAreTold(t *testing.T) {
	checks(t, "8")
	const n = 15 // seconds, five a day; 21 ordinals each, see whole
	image := whole(t, n)
	rapid.Check(t, func(rt *rapid.T) {
		dir := copyDir(t, image)
		gone := tally{}
		var days [3]*sql.DB
		for d := range days {
			db, err := connect(filepath.Join(dir, dayFile(holeyDay(d))), writing)
			if err != nil {
				rt.Fatal(err)
			}
			defer db.Close()
			days[d] = db
		}
		for _, source := range []string{"", "hub/a", "hub/b"} {
			for number := uint64(1); number <= n; number++ {
				verb := rapid.SampledFrom([]string{"", "", "", "", "DELETE FROM blocks", zeroed}).Draw(rt, "fate")
				if verb == "" {
					continue
				}
				gone.note(source, number)
				if _, err := days[3*(number-1)/n].Exec(block(verb, source, fmt.Sprint(number))); err != nil {
					rt.Fatal(err)
				}
			}
		}
		for _, db := range days {
			db.Close()
		}
		s := mustOpen(t, dir)
		defer s.Close()
		is := func(source string, number uint64) bool {
			return len(missing(number, number, source, nil, gone[source])) == 0
		}
		toldOf := func(lost []*journal.Loss) tally {
			all := tally{}
			for _, l := range lost {
				for k := l.First; k <= l.Last; k++ {
					if !is(l.Source, k) {
						rt.Fatalf("told is %v, and it is there", l)
					}
					if len(missing(k, k, l.Source, nil, all[l.Source])) == 0 {
						rt.Fatalf("told twice is %v", l)
					}
					all.note(l.Source, k)
				}
			}
			return all
		}
		first, last := uint64(1), uint64(math.MaxUint64)
		for range 3 {
			inputs, lost := journaltest.Losses(t, s.Inputs(t.Context(), first, last))
			all := toldOf(lost)
			have := map[uint64]bool{}
			for i, in := range inputs {
				if i > 0 && in.Ord <= inputs[i-1].Ord || in.Ord < first || in.Ord > last {
					rt.Fatalf("ordinal %d out of its turn", in.Ord)
				}
				have[in.Ord] = true
			}
			for k, source := range []string{"hub/a", "hub/b", ""} {
				met := spans{} // the seconds of which something of it is there and asked for
				for number := uint64(1); number <= n; number++ {
					for i := range uint64(10) {
						ord := 21*(number-1) + 1 + uint64(k) + 2*i
						if k == 2 {
							ord = 21 * number
						}
						asked := ord >= first && ord <= last
						if asked && have[ord] == is(source, number) {
							rt.Fatalf("ordinal %d of %q is there: %v, its block is gone: %v", ord, source, have[ord], is(source, number))
						}
						if asked && have[ord] {
							met.add(number)
						}
					}
				}
				met = met.merged()
				for number := uint64(1); number <= n; number++ {
					between := len(met) > 0 && number > met[0].first && number < met[len(met)-1].last
					if is(source, number) && (between || last == math.MaxUint64 && first == 1) && len(missing(number, number, source, nil, all[source])) > 0 {
						rt.Fatalf("from %d to %d: nobody told of block %d of %q; told %v", first, last, number, source, lost)
					}
				}
			}
			first = rapid.Uint64Range(1, 21*n).Draw(rt, "first")
			last = first + rapid.Uint64Range(0, 21*n/2).Draw(rt, "more")
		}
		lost, rest := lostByCheck(t, s)
		for source, numbers := range gone {
			if !slices.Equal(lost[source].merged(), numbers.merged()) {
				rt.Fatalf("the check names %v, gone are %v", lost, gone)
			}
		}
		if lost.count() != gone.count() || len(rest) > 0 {
			rt.Fatalf("the check names %v and %v, gone are %v", lost, rest, gone)
		}
		for _, source := range []string{"hub/a", "hub/b"} {
			blocks, told := journaltest.Losses(t, s.Readings(t.Context(), source, holeyDay(0), holeyDay(3)))
			all := toldOf(told)
			there := spans{}
			for _, b := range blocks {
				there.add(b.Number)
			}
			for number := uint64(1); number <= n; number++ {
				if has := len(missing(number, number, source, nil, there)) == 0; has == is(source, number) {
					rt.Fatalf("block %d of %s is read: %v, gone: %v", number, source, has, is(source, number))
				}
				if between := len(there) > 0 && number > there.merged()[0].first && number < there.merged()[len(there.merged())-1].last; between && is(source, number) && len(missing(number, number, source, nil, all[source])) > 0 {
					rt.Fatalf("whoever reads %s is not told of block %d; told %v", source, number, told)
				}
			}
		}
	})
}
