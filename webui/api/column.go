package api

import (
	"encoding/json"
	"math"
	"reflect"
	"strconv"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"weald/ingest/sample"
	"weald/stream/view"
)

// An answer about history is a few columns of many thousands of values, which are
// written by themselves: a reflection for each of them takes longer than to find it.

// moments are instants in an answer.
type moments []sample.Instant

// Schema implements huma.SchemaProvider.
func (moments) Schema(r huma.Registry) *huma.Schema {
	return r.Schema(reflect.TypeFor[[]time.Time](), true, "")
}

// MarshalJSON implements json.Marshaler.
func (m moments) MarshalJSON() ([]byte, error) {
	return column(m, len(`"2006-01-02T15:04:05Z",`), func(b []byte, at sample.Instant) []byte {
		b = append(b, '"')
		return append(at.Time().AppendFormat(b, time.RFC3339Nano), '"')
	}), nil
}

// values are numbers in an answer, rounded; null where one is NaN.
type values []float64

// Schema implements huma.SchemaProvider.
func (values) Schema(r huma.Registry) *huma.Schema {
	return r.Schema(reflect.TypeFor[[]*float64](), true, "")
}

// MarshalJSON implements json.Marshaler.
func (v values) MarshalJSON() ([]byte, error) { return column(v, len("-123.4567,"), appendNumber), nil }

func column[T any](all []T, each int, add func([]byte, T) []byte) []byte {
	b := append(make([]byte, 0, 2+each*len(all)), '[')
	for i, one := range all {
		if i > 0 {
			b = append(b, ',')
		}
		b = add(b, one)
	}
	return append(b, ']')
}

// exactly is up to where a number of ten-thousandths has so few digits that no
// shorter decimal is the same number.
const exactly = 1e15

// appendNumber appends v, rounded to four decimals, as encoding/json writes it.
func appendNumber(b []byte, v float64) []byte {
	n := math.Round(v * 1e4)
	if !(math.Abs(n) < exactly) { // NaN, or such as no pressure is
		text, _ := json.Marshal(view.Measured(v)) // null where it is no finite number
		return append(b, text...)
	}
	if n < 0 { // what rounds to nothing has no minus
		b = append(b, '-')
	}
	whole := uint64(math.Abs(n))
	b = strconv.AppendUint(b, whole/1e4, 10)
	part := whole % 1e4
	if part == 0 {
		return b
	}
	b = append(b, '.', byte('0'+part/1000), byte('0'+part/100%10), byte('0'+part/10%10), byte('0'+part%10))
	for b[len(b)-1] == '0' {
		b = b[:len(b)-1]
	}
	return b
}
