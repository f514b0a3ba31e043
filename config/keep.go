package config

import (
	"time"

	"weald/config/internal/shape"
	"weald/config/internal/tree"
	"weald/stream/journal"
)

// shortest is the least age after which anything may be deleted: readings go by
// days, and a slip such as 10m for ten months must not cost a record.
const shortest = 24 * time.Hour

// keep makes limits of what the file says. Classes without a limit are not in
// them.
func (r *reader) keep() journal.Limits {
	k := &r.file.Keep
	limits := journal.Limits{}
	for _, one := range []struct {
		key   string
		class journal.Class
		limit shape.Term
	}{
		{"readings", journal.Readings, k.Readings},
		{"seconds", journal.Seconds, k.Seconds},
		{"minutes", journal.Minutes, k.Minutes},
		{"quarters", journal.Quarters, k.Quarters},
		{"faults", journal.Faults, k.Faults},
		{"marks", journal.Marks, k.Marks},
		{"sessions", journal.Sessions, k.Sessions},
		{"alerts", journal.Transitions, k.Alerts},
		{"actions", journal.Actions, k.Actions},
		{"notices", journal.Notices, k.Notices},
		{"former", journal.Former, k.Former},
	} {
		l := journal.Limit{Age: time.Duration(one.limit.Age), Bytes: int64(one.limit.Gigabytes * 1e9)}
		if l.Age > 0 && l.Age < shortest {
			r.doc.Report(tree.Path{"keep", one.key, "age"}, "age is %v: give at least 1d, or leave it out to keep %s for ever", l.Age, one.key)
		}
		if one.limit.Gigabytes > 0 && l.Bytes == 0 {
			r.doc.Report(tree.Path{"keep", one.key, "gigabytes"}, "gigabytes is less than a byte: give more, or leave it out to keep %s for ever", one.key)
		}
		if l != (journal.Limit{}) {
			limits[one.class] = l
		}
	}
	return limits
}
