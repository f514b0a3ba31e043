package journal

import (
	"errors"
	"iter"
)

// Readable yields what can be read of what an iterator of a journal yields. Each
// loss is given to lost instead, which may be nil; any other error is yielded.
func Readable[T any](all iter.Seq2[T, error], lost func(*Loss)) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		for v, err := range all {
			var loss *Loss
			if errors.As(err, &loss) {
				if lost != nil {
					lost(loss)
				}
				continue
			}
			if !yield(v, err) {
				return
			}
		}
	}
}
