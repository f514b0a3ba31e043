package rules

import (
	"encoding/binary"
	"math"

	"weald/ingest/sample"
	"weald/rules/hold"
)

// A writer appends the parts of a snapshot.
type writer struct{ b []byte }

func (w *writer) count(n int) { w.b = binary.AppendUvarint(w.b, uint64(n)) }

func (w *writer) instant(i sample.Instant) {
	w.b = binary.LittleEndian.AppendUint64(w.b, uint64(i))
}

func (w *writer) float(v float64) {
	w.b = binary.LittleEndian.AppendUint64(w.b, math.Float64bits(v))
}

func (w *writer) floats(vs []float64) {
	w.count(len(vs))
	for _, v := range vs {
		w.float(v)
	}
}

func (w *writer) string(s string) {
	w.count(len(s))
	w.b = append(w.b, s...)
}

func (w *writer) flag(set bool) {
	if set {
		w.b = append(w.b, 1)
	} else {
		w.b = append(w.b, 0)
	}
}

func (w *writer) flags(set []bool) {
	for _, is := range set {
		w.flag(is)
	}
}

func (w *writer) scan(feed int, s *sample.Scan) {
	w.count(feed)
	w.instant(s.At)
	w.instant(s.Arrived)
	w.count(int(s.Seq))
	w.flag(s.Stored)
	w.floats(s.Values)
	w.passage(s)
	w.count(int(s.Battery))
	w.flag(s.U != nil)
	if s.U != nil {
		w.floats(s.U)
		w.floats(s.Shared)
		w.flags(s.Extrapolated)
	}
}

// A reader takes them off again. After the first part that is not there it is
// bad, and everything else is zero.
type reader struct {
	b   []byte
	bad bool
}

func (r *reader) left() int { return len(r.b) }

func (r *reader) bytes(n int) []byte {
	if n < 0 || n > len(r.b) {
		r.bad, r.b = true, nil
		return nil
	}
	out := r.b[:n]
	r.b = r.b[n:]
	return out
}

func (r *reader) count(most int) int {
	v, n := binary.Uvarint(r.b)
	if n <= 0 || v > uint64(most) {
		r.bad, r.b = true, nil
		return 0
	}
	r.b = r.b[n:]
	return int(v)
}

func (r *reader) uint64() uint64 {
	b := r.bytes(8)
	if b == nil {
		return 0
	}
	return binary.LittleEndian.Uint64(b)
}

func (r *reader) uint32() uint32 {
	b := r.bytes(4)
	if b == nil {
		return 0
	}
	return binary.LittleEndian.Uint32(b)
}

func (r *reader) instant() sample.Instant { return sample.Instant(r.uint64()) }

func (r *reader) float() float64 { return math.Float64frombits(r.uint64()) }

// floats fills vs; a snapshot of another length is bad.
func (r *reader) floats(vs []float64) {
	if n := r.count(len(vs)); n != len(vs) {
		r.bad = true
		return
	}
	for i := range vs {
		vs[i] = r.float()
	}
}

func (r *reader) string() string { return string(r.bytes(r.count(len(r.b)))) }

func (r *reader) flag() bool {
	b := r.bytes(1)
	return b != nil && b[0] == 1
}

func (r *reader) flags(n int) []bool {
	set := make([]bool, n)
	for i := range set {
		set[i] = r.flag()
	}
	return set
}

// scan reads what writer.scan has written; its Source is the number that stands there.
func (r *reader) scan(version byte) (s sample.Scan) {
	s.Source = r.count(math.MaxInt32)
	s.At, s.Arrived = r.instant(), r.instant()
	s.Seq, s.Stored = uint32(r.count(math.MaxUint32)), r.flag()
	if n := r.count(len(r.b) / 8); n > 0 {
		s.Values = make([]float64, n)
		for i := range s.Values {
			s.Values[i] = r.float()
		}
	}
	if version >= 4 {
		r.passage(&s)
	}
	if version >= 5 {
		s.Battery = sample.Charge(r.count(math.MaxUint8))
	}
	if version >= 3 && r.flag() {
		n := len(s.Values)
		s.U, s.Shared = make([]float64, n), make([]float64, n)
		r.floats(s.U)
		r.floats(s.Shared)
		s.Extrapolated = r.flags(n)
	}
	return s
}

// passage writes what only a quality rule asks of a scan.
func (w *writer) passage(s *sample.Scan) {
	w.count(int(s.First))
	w.flag(s.Counted)
	w.flag(s.Damaged)
	w.float(s.Rail)
	w.flag(len(s.Raw) == len(s.Values))
	if len(s.Raw) == len(s.Values) {
		w.floats(s.Raw)
	}
	w.count(len(s.Withheld))
	for _, i := range s.Withheld {
		w.count(i)
	}
	w.flag(s.Expired != nil)
	w.flags(s.Expired)
}

func (r *reader) passage(s *sample.Scan) {
	s.First, s.Counted, s.Damaged, s.Rail = uint32(r.count(math.MaxUint32)), r.flag(), r.flag(), r.float()
	if r.flag() {
		s.Raw = make([]float64, len(s.Values))
		r.floats(s.Raw)
	}
	for range r.count(len(s.Values)) {
		s.Withheld = append(s.Withheld, r.count(len(s.Values)))
	}
	if r.flag() {
		s.Expired = r.flags(len(s.Values))
	}
}

// The state of a site.

func (s *siteState) snapshot(w *writer) {
	w.count(len(s.members))
	for i := range s.members {
		m := &s.members[i]
		w.float(m.value)
		w.float(m.u)
		w.float(m.shared)
		w.flag(m.extrapolated)
		w.flag(m.expired)
		w.b = m.doubt.Append(w.b)
	}
}

func (s *siteState) restore(r *reader, version byte) {
	if n := r.count(len(s.members)); n != len(s.members) {
		r.bad = true
		return
	}
	for i := range s.members {
		m := &s.members[i]
		if m.value = r.float(); version < 3 {
			continue
		}
		if m.u, m.shared, m.extrapolated = r.float(), r.float(), r.flag(); version >= 4 {
			m.expired = r.flag()
		}
		r.use(func(b []byte) (rest []byte, err error) {
			m.doubt, rest, err = hold.ReadState(b)
			return rest, err
		})
	}
}

// The uncertainties of a mat's cells, where its scans bring them.

func (m *matState) snapshot(w *writer) {
	w.flag(m.beyond != nil)
	if m.beyond == nil {
		return
	}
	w.floats(m.own)
	w.floats(m.shared)
	w.flags(m.beyond)
	w.flag(m.past != nil)
	w.flags(m.past)
}

func (m *matState) restore(r *reader, version byte) {
	if !r.flag() {
		return
	}
	r.floats(m.own)
	if version >= 4 {
		r.floats(m.shared)
	} else {
		clear(m.shared)
	}
	m.beyond = r.flags(len(m.own))
	if version >= 4 && r.flag() {
		m.past = r.flags(len(m.own))
	}
}

// use hands the rest of the bytes to f and goes on with what it leaves.
func (r *reader) use(f func([]byte) ([]byte, error)) {
	rest, err := f(r.b)
	r.b, r.bad = rest, r.bad || err != nil
}

// The state of a watch on one signal.

func (w *signalWatch) called() string { return w.rule.ID }

func (w *signalWatch) snapshot(out *writer) {
	out.b = w.hold.Append(out.b)
	out.b = append(out.b, byte(w.memory), byte(w.cond+1))
	out.instant(w.since)
	out.flag(w.unknown)
	out.flag(w.gate.open)
}

func (w *signalWatch) restore(r *reader) {
	r.use(func(b []byte) (rest []byte, err error) {
		w.hold, rest, err = hold.ReadState(b)
		return rest, err
	})
	if b := r.bytes(2); b != nil {
		w.memory, w.cond = hold.Memory(b[0]&3), sample.Truth(b[1])-1
		r.bad = r.bad || b[0] > 2 || b[1] > 2
	}
	w.since, w.unknown, w.gate.open = r.instant(), r.flag(), r.flag()
}

// The state of a watch on cells.

func (w *cellWatch) judges() *Rule  { return w.rule }
func (w *cellWatch) called() string { return w.rule.ID }

func (w *cellWatch) snapshot(out *writer) {
	out.b = w.cells.Append(out.b)
	out.count(len(w.groups))
	for i := range w.groups {
		g := &w.groups[i]
		out.count(g.raised)
		out.instant(g.since)
		out.flag(g.unknown)
	}
	out.flag(w.gate.open)
}

func (w *cellWatch) restore(r *reader) {
	r.use(w.cells.Read)
	if r.count(len(w.groups)) != len(w.groups) {
		r.bad = true
		return
	}
	for i := range w.groups {
		g := &w.groups[i]
		g.raised, g.since, g.unknown = r.count(len(g.cells)), r.instant(), r.flag()
	}
	w.gate.open = r.flag()
}
