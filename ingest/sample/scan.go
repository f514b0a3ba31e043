package sample

// A Scan is what one source felt at one instant: a value for each of its
// channels. A mat numbers its channels row by row.
//
// Scans are passed by pointer along one line of hands and are not shared: who
// receives one may read it until the call returns and must copy what it keeps.
type Scan struct {
	// Source is the position of the source in the configuration, counting
	// through all bridges in the order of the file.
	Source int

	// At is when the channels were sampled (event time); Arrived is when the
	// daemon had the whole scan, on the host's clock. Rules look at At only.
	At, Arrived Instant

	// Seq is the sequence number of the scan's last frame, First that of its
	// first.
	Seq, First uint32

	// Millis is what the device's counter said; Counted is false where there is
	// no such counter, as in rows with a time of their own.
	Millis  uint32
	Counted bool

	// Stored says that the bridge kept the scan and sent it later.
	Stored bool

	// Damaged says that the readings were withheld because they were damaged at
	// the source: all are missing.
	Damaged bool

	// Battery is the level of the source's battery, as it was last heard of when the
	// scan came. One that the bridge kept does not tell it.
	Battery Charge

	// Rail is the reading, as delivered, at and above which a value is
	// unknown: +Inf where there is none.
	Rail float64

	// Values has one entry a channel, in mmHg, NaN where unknown: not
	// delivered, at a rail, or without a calibration.
	Values []float64

	// Raw has one entry a channel as the bridge delivered it (counts, or mmHg
	// for a source with that unit), NaN where nothing was delivered.
	Raw []float64

	// U has the independent part of the standard uncertainty of each of Values
	// in mmHg, Shared the part that channels calibrated with the same reference
	// have in common; NaN where it is not known. Extrapolated says which values
	// lie outside of what their channel was calibrated for. All three have an
	// entry a channel, or all are nil: then nothing is known beyond what the
	// configuration states.
	U, Shared    []float64
	Extrapolated []bool

	// Expired says which channels have a calibration that is past its date; nil
	// where none has. Their values are still the best there are.
	Expired []bool

	// Withheld has the channels whose readings were left out of Values although
	// they were delivered, as they are not to be believed.
	Withheld []int
}

// Set makes s a copy of from in buffers of its own.
func (s *Scan) Set(from *Scan) {
	kept := *s
	*s = *from
	s.Values, s.Raw = append(kept.Values[:0], from.Values...), append(kept.Raw[:0], from.Raw...)
	s.Withheld = append(kept.Withheld[:0], from.Withheld...)
	if from.Expired != nil {
		s.Expired = append(kept.Expired[:0], from.Expired...)
	}
	if from.U != nil {
		s.U, s.Shared = append(kept.U[:0], from.U...), append(kept.Shared[:0], from.Shared...)
		s.Extrapolated = append(kept.Extrapolated[:0], from.Extrapolated...)
	}
}
