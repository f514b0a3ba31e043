package applied

// A reading is looked up as y, its counts as a number of fixed size: the calibrated
// range is from least to most, and a larger y is a larger pressure. It is a little
// wider than what the record says, so that both ends are inside, however y is
// rounded: by less than one in 50,000.
const (
	least  = 6552
	most   = least + span
	span   = 52416    // 64 times an integer
	anchor = span / 8 // so far outside y is 0 below, and top above
	top    = most + anchor
	zone   = span / 50
)

// A stretch is the straight piece of a channel's table on which its last reading
// was. Most readings are on the same as the one before, which takes no search.
type stretch struct {
	origin, scale float64 // counts at which y is 0, and y a count
	p, dp         float64 // the pressure is p + dp*y
	low           int32   // y from low on, and less than width above it, is on the stretch
	width         uint32  // 0: the next reading is to be looked up
}

// y returns where a reading is. Rounding never changes the order of two.
func (t *stretch) y(raw float64) float64 { return (raw - t.origin) * t.scale }

// has reports whether a y, without its fraction, is on the stretch. The largest of
// all integers is on none, nor is the least, nor 0: they are what processors make of
// readings that are none. As integers take one comparison instead of two, a third of
// the time of a conversion is saved.
func (t *stretch) has(y int32) bool { return uint32(y-t.low) < t.width }

// at returns the pressure in mmHg. The conversion keeps the product from being
// fused into the sum, so that every processor gives the same last bit.
func (t *stretch) at(y float64) float64 { return t.p + float64(t.dp*y) }

// set makes the stretch one from low to below high, less what is never on one.
func (t *stretch) set(low, high int32) {
	t.low, t.width = max(low, 1), uint32(max(high-max(low, 1), 0))
}

// outside reports whether a y, without its fraction, is outside of the calibrated
// range. It takes no jump, as none is so costly as one that nobody can foresee, and
// readings without load are now within, now outside.
func outside(y int32) bool { return uint32(y-least) >= span }

// glide converts the readings that are on the same stretch as the ones before, for
// channels of which the motion does not matter, and returns how many were not, with
// their positions in moved. The uncertainty of a stretch stays as it is.
func glide(moved []int32, values []float64, beyond []bool, stretches []stretch, raws []float64) int {
	values, beyond, stretches = values[:len(raws)], beyond[:len(raws)], stretches[:len(raws)]
	n := 0
	for k, raw := range raws {
		t := &stretches[k]
		y := t.y(raw)
		i := int32(y)
		beyond[k] = outside(i)
		if t.has(i) {
			values[k] = t.at(y)
			continue
		}
		moved[n] = int32(k)
		n++
	}
	return n
}

// dwell does what glide does for channels of which the motion matters: they have to
// rest as well.
func dwell(moved []int32, values []float64, beyond []bool, stretches []stretch, rests []rest, raws []float64, share float64) int {
	values, beyond, stretches, rests = values[:len(raws)], beyond[:len(raws)], stretches[:len(raws)], rests[:len(raws)]
	n := 0
	for k, raw := range raws {
		t, r := &stretches[k], &rests[k]
		y := t.y(raw)
		i := int32(y)
		beyond[k] = outside(i)
		if t.has(i) {
			s := r.Smooth + float64(share*(r.at(y)-r.Smooth)) // as Rests does
			if s >= r.CalmLow && s <= r.CalmHigh {
				r.Smooth, values[k] = s, t.at(y)
				continue
			}
		}
		moved[n] = int32(k)
		n++
	}
	return n
}
