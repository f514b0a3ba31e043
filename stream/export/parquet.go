package export

import (
	"context"
	"strconv"
	"time"

	"github.com/parquet-go/parquet-go"
)

// A Reading is one row of the table of readings in a Parquet file.
type Reading struct {
	// Time is in nanoseconds since 1970, UTC.
	Time   int64  `parquet:"time,timestamp(nanosecond),delta,zstd"`
	Signal string `parquet:"signal,dict,zstd"`
	Unit   string `parquet:"unit,dict,zstd"`
	// Value is null where unknown; it is never NaN.
	Value *float64 `parquet:"value,optional,split,zstd"`
	// U is the standard uncertainty of Value, null where it is not known.
	U *float64 `parquet:"u,optional,split,zstd"`
	// Extrapolated and Expired are what the value is in doubt for (see Doubt), null
	// where the value is unknown, or where it is not known whether there is any doubt.
	Extrapolated *bool `parquet:"extrapolated,optional,zstd"`
	Expired      *bool `parquet:"expired,optional,zstd"`
}

// taken makes r the reading of column s in row k of a batch of a widened track, which
// has n signals. What it points to is the batch's.
func (r *Reading) taken(b *batch, k, s, n int) {
	row := b.row(k)
	r.Time, r.Value, r.U, r.Extrapolated, r.Expired = int64(b.at[k]), nil, nil, nil, nil
	if v := &row[s]; *v == *v {
		r.Value = v
	}
	if r.Value == nil {
		return
	}
	if u := &row[n+s]; *u == *u {
		r.U = u
	}
	if d := row[2*n+s]; d == d {
		r.Extrapolated, r.Expired = truth(Doubt(d)&Extrapolated != 0), truth(Doubt(d)&Expired != 0)
	}
}

var yes, no = true, false

func truth(is bool) *bool {
	if is {
		return &yes
	}
	return &no
}

// An Event is one row of the table of annotations in a Parquet file.
type Event struct {
	Time     int64   `parquet:"time,timestamp(nanosecond),delta,zstd"`
	Duration float64 `parquet:"duration_s,zstd"`
	Kind     string  `parquet:"kind,dict,zstd"`
	What     string  `parquet:"what,dict,zstd"`
	Rule     string  `parquet:"rule,dict,zstd"`
	Subject  string  `parquet:"subject,dict,zstd"`
	Priority string  `parquet:"priority,dict,zstd"`
	Author   string  `parquet:"author,dict,zstd"`
	Text     string  `parquet:"text,zstd"`
}

// rowGroup is how many rows of readings are buffered, in their compressed
// pages, before they are written.
const rowGroup = 1 << 18

// Parquet writes the recording into folder as two tables, compressed with zstd:
// base.parquet with a Reading a row, and base-events.parquet with an Event a
// row. The recording's header is in the metadata of both, as pairs whose keys
// begin with "weald.".
//
// The table of readings is long, with the name of the signal in each row, and
// not wide: signals of every rate and of every source fit into it with their own
// instants, a row says what was read and not what was held, and a name costs
// next to nothing, because rows come in runs of one signal. They are not sorted
// beyond that: track after track, and within a track some thousand readings at
// a time, signal after signal.
func Parquet(ctx context.Context, r Recording, folder, base string, o Options) ([]File, error) {
	if err := r.check(); err != nil {
		return nil, err
	}
	out := &output{folder: folder, replace: o.Replace}
	defer out.discard()
	m := newMeter(o, &r.Header, len(r.Tracks)+1)
	if err := r.parquetReadings(ctx, out, base+".parquet", m); err != nil {
		return nil, err
	}
	m.part("events")
	if err := r.parquetEvents(ctx, out, base+"-events.parquet"); err != nil {
		return nil, err
	}
	m.done()
	return out.commit(ctx)
}

func (r *Recording) parquetReadings(ctx context.Context, out *output, name string, m *meter) error {
	p, err := out.create(name)
	if err != nil {
		return err
	}
	w := parquet.NewGenericWriter[Reading](p, append(r.metadata(), parquet.MaxRowsPerRowGroup(rowGroup))...)
	var rows []Reading
	wide := r.widened()
	for i := range r.Tracks {
		t := &r.Tracks[i]
		m.part("readings of " + t.Signals[0].Name + " and what was read with it")
		for b, err := range wide.batches(ctx, i) {
			if err != nil {
				return err
			}
			rows = rows[:0]
			for s := range t.Signals {
				row := Reading{Signal: t.Signals[s].Name, Unit: t.Signals[s].Unit}
				for k := range b.at {
					row.taken(b, k, s, len(t.Signals))
					rows = append(rows, row)
				}
			}
			if _, err := w.Write(rows); err != nil {
				return err
			}
			p.rows += int64(len(rows))
			m.at(b.at[len(b.at)-1])
		}
		m.done()
	}
	return w.Close()
}

func (r *Recording) parquetEvents(ctx context.Context, out *output, name string) error {
	p, err := out.create(name)
	if err != nil {
		return err
	}
	w := parquet.NewGenericWriter[Event](p, append(r.metadata(), parquet.MaxRowsPerRowGroup(rowGroup))...)
	err = r.annotations(ctx, func(a *Annotation) error {
		p.rows++
		_, err := w.Write([]Event{{
			Time: int64(a.At), Duration: a.Duration.Seconds(), Kind: string(a.Kind), What: a.What, Rule: a.Rule,
			Subject: a.Subject, Priority: a.Priority, Author: a.Author, Text: a.Text,
		}})
		return err
	})
	if err != nil {
		return err
	}
	return w.Close()
}

// metadata is what both tables say of the recording.
func (r *Recording) metadata() []parquet.WriterOption {
	h, whose := &r.Header, r.Header.whose()
	var o []parquet.WriterOption
	for _, each := range [][2]string{
		{"place", h.Place}, {"person", whose.Person}, {"session", whose.ID}, {"program", h.program()},
		{"start", h.Start.String()}, {"end", h.End.String()}, {"zone", h.zoneName()},
	} {
		o = append(o, parquet.KeyValueMetadata("weald."+each[0], each[1]))
	}
	for i := range r.Tracks {
		t := &r.Tracks[i]
		value := strconv.FormatFloat(t.Rate, 'f', -1, 64) + " per second, a value lasts at most " +
			t.stale().Round(time.Microsecond).String()
		for _, s := range t.Signals {
			o = append(o, parquet.KeyValueMetadata("weald.signal."+s.Name, value))
		}
	}
	return o
}
