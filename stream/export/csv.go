package export

import (
	"context"
	"strconv"

	"weald/ingest/sample"
)

// CSV writes the recording into folder as UTF-8 by RFC 4180, with one header
// line, all with names that begin with base:
//
//   - base-50-per-s.csv and so on, one for each rate, base-irregular.csv for
//     tracks without one: time (RFC 3339, in the zone of the place), seconds
//     since the start, and four columns a signal: "ankle.pressure (mmHg)",
//     "ankle.pressure u (mmHg)", the standard uncertainty of the value, and
//     "ankle.pressure extrapolated" and "ankle.pressure expired", 1 or 0, what it
//     is in doubt for (see Doubt). They are those of Parquet. An empty cell is
//     unknown. See the package for rows of several tracks.
//   - base-events.csv: alerts, marks and sessions, a row each.
//   - base-about.csv: the header, the signals and what columns mean, for whom the
//     files are passed on to.
//
// Values are written so that they read back exactly, uncertainties with three
// significant digits: more than they have (JCGM 100, 7.2.6).
func CSV(ctx context.Context, r Recording, folder, base string, o Options) ([]File, error) {
	if err := r.check(); err != nil {
		return nil, err
	}
	out := &output{folder: folder, replace: o.Replace}
	defer out.discard()
	rates := r.rates()
	m := newMeter(o, &r.Header, len(rates)+2)
	for _, rate := range rates {
		name := rateName(rate)
		m.part("readings, " + name)
		p, err := out.create(base + "-" + name + ".csv")
		if err != nil {
			return nil, err
		}
		if err := r.csvReadings(ctx, p, rate, m); err != nil {
			return nil, err
		}
		m.done()
	}
	for _, rest := range []struct {
		name  string
		write func(context.Context, *part) error
	}{{"events", r.csvEvents}, {"about", r.csvAbout}} {
		m.part(rest.name)
		p, err := out.create(base + "-" + rest.name + ".csv")
		if err != nil {
			return nil, err
		}
		if err := rest.write(ctx, p); err != nil {
			return nil, err
		}
		m.done()
	}
	return out.commit(ctx)
}

// rateName is how a rate is called in the name of a file.
func rateName(rate float64) string {
	if rate == 0 {
		return "irregular"
	}
	return strconv.FormatFloat(rate, 'f', -1, 64) + "-per-s"
}

// titles are the headings of the columns of a signal.
func (s *Signal) titles() [4]string {
	unit := ""
	if s.Unit != "" {
		unit = " (" + s.Unit + ")"
	}
	return [...]string{s.Name + unit, s.Name + " u" + unit, s.Name + " extrapolated", s.Name + " expired"}
}

// csvReadings writes the tracks of one rate.
func (r *Recording) csvReadings(ctx context.Context, p *part, rate float64, m *meter) error {
	var row csvRow
	row.text("time")
	row.text("seconds")
	var feeds []*feed
	var now []held
	defer func() {
		for _, f := range feeds {
			f.stop()
		}
	}()
	wide := r.widened()
	for i := range r.Tracks {
		t := &r.Tracks[i]
		if t.Rate != rate {
			continue
		}
		for s := range t.Signals {
			for _, title := range t.Signals[s].titles() {
				row.text(title)
			}
		}
		feeds, now = append(feeds, wide.feed(ctx, i)), append(now, newHeld(&wide.Tracks[i]))
	}
	if _, err := p.Write(row.end()); err != nil {
		return err
	}
	zone := r.Header.zone()
	for {
		at := sample.Never
		for _, f := range feeds {
			at = min(at, f.at())
		}
		if at == sample.Never {
			break
		}
		// Of several rows of a track at one instant each makes its own line.
		row.begin()
		row.instant(at, r.Header.Start, zone)
		for i, f := range feeds {
			if f.at() == at {
				now[i].take(f)
			}
			row.held(&now[i], at)
		}
		if _, err := p.Write(row.end()); err != nil {
			return err
		}
		p.rows++
		m.at(at)
	}
	for _, f := range feeds {
		if f.err != nil {
			return f.err
		}
	}
	return nil
}
