package shape

// Graduation is true while the pressure does not fall from distal to proximal
// as asked, for each pair of neighbouring sites. Judged while the limb is still
// unless while says otherwise. With none of ratio, drop and steepest the
// default of ratio holds.
type Graduation struct {
	// One pair of sites, the distal one first. Default: every pair of
	// neighbours, by height_cm where all sites have it, else in the order of the
	// file from the most distal on.
	Sites *[2]string `yaml:"sites"`

	// The most that the proximal pressure may be, as a share of the distal one.
	// Default 0.8.
	Ratio *float64 `yaml:"ratio" jsonschema:"exclusiveMinimum=0,maximum=2"`

	// By how many mmHg the proximal pressure must be lower. Default: not asked.
	Drop float64 `yaml:"drop" jsonschema:"minimum=0,maximum=200"`

	// The least that the proximal pressure may be, as a share of the distal
	// one. Default: not asked.
	Steepest float64 `yaml:"steepest" jsonschema:"minimum=0,maximum=1"`
}

// Exposure is true while any cell or site has used a share of its tolerance, by
// a research model that is named in every alert. No model says what is safe.
type Exposure struct {
	// What is judged: a site, a region of a mat, or mat for all cells. Default:
	// everything.
	Of ID `yaml:"of"`

	// The published model: linder_ganz (rat muscle, 2006) or reswick_rogers
	// (clinical guideline, 1976). Either this or table.
	Model string `yaml:"model" jsonschema:"enum=linder_ganz,enum=reswick_rogers"`

	// A table of this site: pressures that rise, each with how long it is
	// tolerated. Either this or model.
	Table []Tolerance `yaml:"table" jsonschema:"minItems=2"`

	// Share of the tolerance, above which the condition is true. Default 0.8.
	Share float64 `yaml:"share" jsonschema:"exclusiveMinimum=0,maximum=100,default=0.8"`

	// Pressure in mmHg up to which a cell is unloaded. Default 20.
	Floor float64 `yaml:"floor" jsonschema:"minimum=0,maximum=1000,default=20"`

	// Time constant with which an unloaded cell recovers, once it has been
	// unloaded for resets_after. Default 30m.
	Recovery Duration `yaml:"recovery" jsonschema:"default=30m"`
}

// Tolerance is one line of a table of tolerated times.
type Tolerance struct {
	// Pressure in mmHg.
	MMHg float64 `yaml:"mmhg" jsonschema:"required,exclusiveMinimum=0,maximum=1000"`

	// How long it is tolerated.
	For Duration `yaml:"for" jsonschema:"required"`
}

// Relief is true while somebody has been seated for an interval with nothing
// that counts. Weight shift, pressure relief and transfer are those of
// Sonenblum, Sprigle, Martin, J Rehabil Res Dev 2016;53(5):585-598.
type Relief struct {
	// How long somebody may sit. Default 30m.
	Interval Duration `yaml:"interval" jsonschema:"default=30m"`

	// Share of the baseline that is off at least one side for a shift, and off
	// the whole seat for a relief; both included. Default [0.3, 0.9].
	Depth *[2]float64 `yaml:"depth"`

	// How long it takes. Default 15s.
	Lasting Duration `yaml:"lasting" jsonschema:"default=15s"`

	// How long the seat must be empty for a transfer. Default 1m.
	EmptyFor Duration `yaml:"empty_for" jsonschema:"default=1m"`

	// What begins the interval anew: any of shift, relief and transfer. Default: all.
	Counts []string `yaml:"counts"`
}

// Turn is true while a bed has been occupied for an interval with no change of
// position: another side, another place, or a load that lies quite differently,
// for as long as settle. Small fidgets are none. Needs a mat of a bed, and that
// its head and seen_from are right.
type Turn struct {
	// How long somebody may lie without a turn. Default 2h; other guidance says 4 h and
	// 6 h: local policy decides.
	Interval Duration `yaml:"interval" jsonschema:"default=2h"`

	// How long a new position must last to count as one. Default 30s.
	Settle Duration `yaml:"settle" jsonschema:"default=30s"`
}

// Rate is true while a signal rises or falls faster than so much in so long, by
// the median of the slopes between all parts of a window.
type Rate struct {
	// The signal, such as ankle.pressure or mat.load.
	Watch string `yaml:"watch" jsonschema:"required"`

	// True while it rises by more than this, in its unit.
	Rise float64 `yaml:"rise" jsonschema:"minimum=0"`

	// True while it falls by more than this, in its unit.
	Fall float64 `yaml:"fall" jsonschema:"minimum=0"`

	// In how long. Default 1m.
	Per Duration `yaml:"per" jsonschema:"default=1m"`

	// What the slope is taken over; half of it must have been seen. Default 10m.
	Window Duration `yaml:"window" jsonschema:"default=10m"`
}

// Drift is true while the resting level of a site lies farther from where it
// settled than it may. Judged only while the limb is still.
type Drift struct {
	// The site of a limb.
	Site ID `yaml:"site" jsonschema:"required"`

	// How far it may lie from there, in mmHg. Default 9.4.
	By float64 `yaml:"by" jsonschema:"exclusiveMinimum=0,maximum=200,default=9.4"`

	// How long after wrapping it is taken to have settled. Default 90m.
	Settle Duration `yaml:"settle" jsonschema:"default=90m"`
}

// Swing is true while the walking amplitude of a site (median of the highest
// less median of the lowest pressures of the last strides) is beyond a bound;
// exactly one of above, below and outside is given. It is not known below ten
// scans a stride.
type Swing struct {
	// The site of a limb.
	Site ID `yaml:"site" jsonschema:"required"`

	// True above this many mmHg.
	Above *float64 `yaml:"above"`

	// True below this many mmHg.
	Below *float64 `yaml:"below"`

	// True below the first and above the second value, in mmHg.
	Outside *[2]float64 `yaml:"outside"`

	// How far it must come back for the condition to end, in mmHg; called
	// deadband in ISA-18.2. Default 0.
	Deadband float64 `yaml:"deadband" jsonschema:"minimum=0"`
}

// Quality is true while a channel of a site has one of some faults, or so many of
// the cells of a mat, or a source of theirs.
type Quality struct {
	// The faults: silent, delivering nothing; uncalibrated, delivering readings that
	// no calibration makes a pressure of; saturated, at the end of what it can read;
	// missing, without a value for one of these reasons or another; open, at its
	// lowest without any change while what is around it is loaded; stuck, without
	// any change while what is around it does; disagrees, left out of its site
	// because it disagrees with the other channels there; expired, past the date of
	// its calibration; extrapolated, measuring a pressure outside of what it was
	// calibrated for; loss, of a source that loses frames; clock, of a source of
	// which the clock is off; battery, of a source of which the battery is low.
	// Default: all of them.
	Of []string `yaml:"of"`

	// For how long a channel must not change at all to be stuck or open. Default 10m.
	Unchanged Duration `yaml:"unchanged" jsonschema:"default=10m"`

	// How many of a mat's cells must have a fault: their share, 0 for any one. Default
	// 0.02.
	Share float64 `yaml:"share" jsonschema:"minimum=0,maximum=1,default=0.02"`

	// The share of a source's frames above which it loses too many, over one to two
	// minutes. Default 0.05.
	Loss float64 `yaml:"loss" jsonschema:"exclusiveMinimum=0,exclusiveMaximum=1,default=0.05"`

	// By how much a source's clock may be off. Default 2s.
	Clock Duration `yaml:"clock" jsonschema:"default=2s"`

	// The level of a source's battery, in percent, at or below which it is low. A
	// source that tells its voltage alone tells no level. Default 15.
	Battery float64 `yaml:"battery" jsonschema:"exclusiveMinimum=0,exclusiveMaximum=100,default=15"`
}
