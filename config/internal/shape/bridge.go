package shape

import "weald/config/internal/tree"

// Bridge is one connection and the sources behind it.
type Bridge struct {
	// Name of the bridge, unique in the file.
	ID ID `yaml:"id" jsonschema:"required"`

	// How the bytes arrive; exactly one kind.
	Link Link `yaml:"link" jsonschema:"required"`

	// What the bytes are: line (text, one scan a line), packed (binary frames)
	// or delimited (the columns of an existing logger).
	Format string `yaml:"format" jsonschema:"required,enum=line,enum=packed,enum=delimited"`

	// What the columns mean; for the format delimited, and only for it.
	Delimited *Delimited `yaml:"delimited"`

	// File that the raw bytes are recorded to with their time of arrival, to be
	// played back later. Relative to data. Default: none is made.
	Capture string `yaml:"capture"`

	// What is behind the bridge, each with its own channels and clock.
	Sources []Source `yaml:"sources" jsonschema:"required,minItems=1"`
}

// Source is one device behind a bridge.
type Source struct {
	// Number that the device puts into its frames. 0 for a delimited file whose
	// rows do not name their source.
	Number int `yaml:"number" jsonschema:"required,minimum=0,maximum=65535"`

	// Name of the source, unique within its bridge.
	ID ID `yaml:"id" jsonschema:"required"`

	// How many channels it has; a mat has one for each cell.
	Channels int `yaml:"channels" jsonschema:"required,minimum=1,maximum=65536"`

	// Nominal scans per second.
	Rate float64 `yaml:"rate" jsonschema:"required,exclusiveMinimum=0,maximum=10000"`

	// How long a reading lasts when no newer one comes; after that the value is
	// unknown. Default: the larger of 1 s and 3 nominal periods.
	StaleAfter *Duration `yaml:"stale_after"`

	// What the readings are: counts, which need a calibration to become a
	// pressure, or mmHg. Default counts.
	Unit string `yaml:"unit" jsonschema:"enum=counts,enum=mmHg,default=counts"`

	// The reading from which on the sensor is at its rail and the value is
	// unknown, in the source's unit. Default: the top of the coding for packed
	// frames of 8 and 12 bits, none for the others.
	SaturatesAt *float64 `yaml:"saturates_at" jsonschema:"exclusiveMinimum=0"`

	// Straight line from counts to mmHg: one for all channels, or a list with
	// the channels that each is for. Default: none, and then the values are
	// unknown and shown as not calibrated.
	Calibration tree.OneOrMany[Line] `yaml:"calibration"`

	// Battery voltage in mV at which the device stops, for a device that tells
	// a voltage and no percentage: how long it will last is known only with it.
	// Default: not known.
	BatteryEmptyMV int `yaml:"battery_empty_mv" jsonschema:"minimum=1,maximum=65534"`
}

// Line is pressure = slope x counts + offset.
type Line struct {
	// Channels that the line is for, such as [0, 1-3]. Default: all.
	Channels []Range `yaml:"channels"`

	// Pressure per count, in mmHg. Negative where counts fall as the pressure
	// rises.
	Slope float64 `yaml:"slope" jsonschema:"required"`

	// Pressure at 0 counts, in mmHg. Default 0.
	Offset float64 `yaml:"offset"`

	// Standard uncertainty of the pressure, in mmHg. Default: not known.
	U *float64 `yaml:"u" jsonschema:"minimum=0,maximum=1000"`
}
