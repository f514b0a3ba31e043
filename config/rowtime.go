package config

import (
	"strings"
	"time"
	_ "time/tzdata" // a ward's machine may have no zones of its own

	"weald/config/internal/shape"
	"weald/config/internal/tree"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

// rowTime checks where the time of a row comes from: a column or a period.
func (r *reader) rowTime(out *frame.Delimited, t shape.Time, uses map[int]string, path tree.Path) {
	switch {
	case t.Column != nil && t.Period != nil:
		r.doc.Report(path.With("period"), "time has both column and period: give one of them")
	case t.Column != nil:
		out.Time.Column = *t.Column
		r.take(uses, *t.Column, "the time", path.With("column"))
		r.written(out, t, path)
		if t.Start != "" {
			r.doc.Report(path.With("start"), "start is for a file without a time column: leave it out")
		}
	case t.Period != nil:
		r.periodic(out, t, path)
	default:
		r.doc.Report(path.With("column"), "time says nothing: give column, or period for a file without a time column")
	}
}

// written checks how the cells of a time column are written.
func (r *reader) written(out *frame.Delimited, t shape.Time, path tree.Path) {
	out.Time.As = frame.TimeForm(t.As)
	switch out.Time.As {
	case frame.InSeconds, frame.InMilliseconds, frame.InRFC3339:
	case "":
		out.Time.As = frame.InSeconds
	default:
		r.layout(out, t, path)
		return
	}
	if t.Zone != "" {
		r.doc.Report(path.With("zone"), "zone is for a layout, but %s need none: leave it out", out.Time.As)
	}
}

func (r *reader) layout(out *frame.Delimited, t shape.Time, path tree.Path) {
	const example = "a layout such as 2006-01-02 15:04:05"
	if !holdsTime(t.As) {
		if near := tree.Nearest(t.As, []string{"seconds", "milliseconds", "rfc3339"}); near != "" {
			r.doc.Report(path.With("as"), "as is %q: did you mean %s?", t.As, near)
			return
		}
		r.doc.Report(path.With("as"), "as is %q: give seconds, milliseconds, rfc3339 or %s with date and time of day", t.As, example)
		return
	}
	if s := out.Separator; strings.Contains(t.As, s) || s == "space" && strings.Contains(t.As, " ") {
		r.doc.Report(path.With("as"), "the layout %q holds the separator, so the time would be cut: give another separator", t.As)
	}
	out.Time.As, out.Time.Layout = frame.InLayout, t.As
	switch hasZone := strings.Contains(t.As, "-07") || strings.Contains(t.As, "Z07"); {
	case strings.Contains(t.As, "MST"):
		r.doc.Report(path.With("as"), "the layout has the zone as letters, which do not tell it: give an offset such as -07:00, or zone")
	case hasZone && t.Zone != "":
		r.doc.Report(path.With("zone"), "the layout holds the zone already: leave out one of them")
	case hasZone:
	case t.Zone == "":
		r.doc.Report(path.With("zone"), "zone is missing: a layout without one needs it, such as Europe/Berlin or UTC")
	case t.Zone == "Local":
		r.doc.Report(path.With("zone"), "zone Local differs from machine to machine: give a name such as Europe/Berlin or UTC")
	default:
		zone, err := time.LoadLocation(t.Zone)
		if err != nil {
			r.doc.Report(path.With("zone"), "there is no zone %q: give a name such as Europe/Berlin or UTC", t.Zone)
		}
		out.Time.Zone = zone
	}
}

// holdsTime reports whether a layout holds a whole date and time of day: it
// does if what it writes can be read again without a loss. Seconds may be
// missing.
func holdsTime(layout string) bool {
	want := time.Date(2031, time.October, 23, 17, 48, 0, 0, time.UTC)
	got, err := time.Parse(layout, want.Format(layout))
	return err == nil && got.Equal(want)
}

func (r *reader) periodic(out *frame.Delimited, t shape.Time, path tree.Path) {
	out.Time.Column = -1
	out.Time.Period = time.Duration(*t.Period)
	if *t.Period <= 0 {
		r.doc.Report(path.With("period"), "period is 0: give the time from one row to the next")
	}
	for _, k := range []struct{ key, val string }{{"as", t.As}, {"zone", t.Zone}} {
		if k.val != "" {
			r.doc.Report(path.With(k.key), "%s is for a time column: leave it out", k.key)
		}
	}
	if t.Start != "" {
		start, err := time.Parse(time.RFC3339, t.Start)
		if err != nil || start.Year() < 1970 || start.Year() > 2200 {
			r.doc.Report(path.With("start"), "start is %q: give a time in RFC 3339, such as 2026-11-25T08:00:00Z", t.Start)
		}
		out.Time.Start = sample.At(start)
	}
}
