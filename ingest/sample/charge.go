package sample

// A Charge is the level of a battery. Its zero is that the level is not known, so
// that forgetting to set one can never read as an empty battery.
type Charge uint8

// ChargeOf returns the level of so many percent; the unknown one for what is none,
// such as -1.
func ChargeOf(percent int) Charge {
	if percent < 0 || percent > 100 {
		return 0
	}
	return Charge(percent + 1)
}

// Percent returns the level, and whether it is known.
func (c Charge) Percent() (int, bool) { return int(c) - 1, c > 0 && c <= 101 }
