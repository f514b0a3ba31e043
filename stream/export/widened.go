package export

import (
	"fmt"

	"weald/ingest/sample"
)

// What a file says of the columns beside a value.
const (
	saysU            = "standard uncertainty of the value (JCGM 100, k = 1), in its unit; empty where it is not known"
	saysExtrapolated = "1 where the value lies outside of what its sensor was calibrated for, else 0; empty where that is not known"
	saysExpired      = "1 where it was made by a calibration that was past its date, else 0; empty where that is not known"
)

// widened returns r with what rows say beside values as signals of their own.
func (r *Recording) widened() Recording {
	wide := Recording{Header: r.Header}
	for i := range r.Tracks {
		wide.Tracks = append(wide.Tracks, r.Tracks[i].widened())
	}
	return wide
}

// widened returns t with a signal for the uncertainty of each of its signals, and
// one for its doubts, so that they go the way that values do. Of a value that is unknown
// there is neither.
func (t *Track) widened() Track {
	n := len(t.Signals)
	wide := *t
	wide.StaleAfter = t.stale()
	wide.Signals = append(append([]Signal{}, t.Signals...), make([]Signal, 2*n)...)
	wide.Rows = func(yield func(Row, error) bool) {
		out := Row{Values: make([]float64, 3*n)}
		for row, err := range t.Rows {
			if err == nil && (len(row.Values) != n || len(row.U) != 0 && len(row.U) != n || len(row.Doubts) != 0 && len(row.Doubts) != n) {
				err = fmt.Errorf("%w: a row at %v has %d values, %d uncertainties and %d doubts for %d signals",
					ErrRecording, row.At, len(row.Values), len(row.U), len(row.Doubts), n)
			}
			if err != nil {
				yield(Row{}, err)
				return
			}
			out.At, out.Until = row.At, row.Until
			copy(out.Values, row.Values)
			for i := range n {
				out.Values[n+i], out.Values[2*n+i] = sample.Unknown, sample.Unknown
				known := finite(row.Values[i]) == row.Values[i]
				if known && row.U != nil {
					out.Values[n+i] = row.U[i]
				}
				if known && row.Doubts != nil {
					out.Values[2*n+i] = float64(row.Doubts[i])
				}
			}
			if !yield(out, nil) {
				return
			}
		}
	}
	return wide
}
