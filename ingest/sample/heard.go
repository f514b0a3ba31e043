package sample

// A Heard is what is remembered of a scan to know its frames when they come
// again, and to go on with the clock of its device.
type Heard struct {
	First, Seq  uint32 // of its frames
	Millis      uint32 // what the device's counter said
	At, Arrived Instant
	Stored      bool // it was recorded earlier and sent late
}

// MostHeard is how many of the last scans of a source are remembered: as many
// frames as are told apart from new ones.
const MostHeard = 256
