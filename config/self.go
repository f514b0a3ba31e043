package config

import (
	"time"

	"weald/config/internal/shape"
	"weald/config/internal/tree"
	"weald/rules/alert"
	"weald/stream/selfwatch"
)

// mostAfter is for how long something may be wrong with the daemon, at most, before it
// says so.
const mostAfter = 24 * time.Hour

// self makes settings, in the order of selfwatch.Kinds.
func (r *reader) self() []selfwatch.Setting {
	s := &r.file.Self
	out := selfwatch.Defaults()
	for id, one := range map[string]*shape.Own{
		selfwatch.Silence: &s.Silence, selfwatch.Loop: &s.Loop, selfwatch.Disk: &s.Disk, selfwatch.ClockStep: &s.ClockStep,
		selfwatch.ClockError: &s.ClockError, selfwatch.Behind: &s.Behind, selfwatch.Memory: &s.Memory,
		selfwatch.Certificate: &s.Certificate, selfwatch.Heartbeat: &s.Heartbeat, selfwatch.Log: &s.Log,
	} {
		set, path := &out[selfwatch.Index(id)], tree.Path{"self", id}
		set.Off = one.Off
		if one.Limit != nil {
			set.Limit = *one.Limit
		}
		if one.After != nil {
			set.After = time.Duration(*one.After)
			if at := path.With("after"); set.After > mostAfter && !r.doc.Faulty(at) {
				r.doc.Report(at, "after is %v: give at most 1d", set.After)
			}
		}
		if p, ok := alert.ParsePriority(string(one.Priority)); ok {
			set.Priority = p
		}
		if one.Off && (one.Limit != nil || one.After != nil || one.Priority != "") {
			r.doc.Report(path.With("off"), "%s is off, and has settings all the same: leave off out, or the settings", id)
		}
	}
	return out
}
