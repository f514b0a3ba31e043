package shape

// Rule says what is watched, where, and for how long it must last.
type Rule struct {
	// Name of the rule, unique in the file.
	ID ID `yaml:"id" jsonschema:"required"`

	// The places that the rule is for. Default: all of them.
	At At `yaml:"at"`

	// True while a signal is above, below or outside of something.
	Limit *Limit `yaml:"limit"`

	// True while the pressure does not fall along a limb as asked.
	Graduation *Graduation `yaml:"graduation"`

	// True while a share of the tolerance of pressure over time is used.
	Exposure *Exposure `yaml:"exposure"`

	// True while somebody has been seated for too long without a shift, relief or
	// transfer that counts.
	Relief *Relief `yaml:"relief"`

	// True while somebody has lain in bed for too long without a turn.
	Turn *Turn `yaml:"turn"`

	// True while a signal rises or falls too fast.
	Rate *Rate `yaml:"rate"`

	// True while the resting level of a site has moved from where it settled.
	Drift *Drift `yaml:"drift"`

	// True while the walking amplitude of a site is above, below or outside.
	Swing *Swing `yaml:"swing"`

	// True while a channel of a site has a fault.
	Quality *Quality `yaml:"quality"`

	// True while this expression over the signals of the place is; like while,
	// it is unknown where what it needs is.
	Formula string `yaml:"formula"`

	// How long the condition must have been true for the alert to be raised;
	// called on-delay in ISA-18.2. Default 0s: at once.
	OnDelay Duration `yaml:"on_delay" jsonschema:"default=0s"`

	// How long it must have been false for the alert to be cleared; called
	// off-delay in ISA-18.2. Default 0s: at once.
	OffDelay Duration `yaml:"off_delay" jsonschema:"default=0s"`

	// How long the condition must be false, before the alert is raised, for the
	// time that it was true to be lost. Shorter dips pause it. Default 0s: lost
	// at once; for exposure 2m.
	ResetsAfter Duration `yaml:"resets_after" jsonschema:"default=0s"`

	// How long the signal must be unknown without a break for the time that the
	// condition was true to be lost. Default 10m.
	ForgetAfter Duration `yaml:"forget_after" jsonschema:"default=10m"`

	// Expression over the signals of the place; time in which it is not true
	// counts for nothing. Default: always; for graduation still.
	While string `yaml:"while"`

	// The least probability with which the true value must be beyond the limit,
	// by the uncertainty that is known of it (normal model, as in JCGM 106). 0.95
	// alerts only when sure, 0.05 as soon as it cannot be excluded. Default 0.5:
	// the value itself is compared. For limit, graduation and swing.
	Certainty float64 `yaml:"certainty" jsonschema:"exclusiveMinimum=0,default=0.5"`

	// Priority of the alert, in the words of IEC 60601-1-8 (no conformity is
	// claimed). Default low.
	Priority string `yaml:"priority" jsonschema:"enum=low,enum=medium,enum=high,default=low"`

	// Whether the alert is shown until somebody acknowledges it, even after it
	// has cleared; called latched in ISA-18.2. Default false.
	Latched bool `yaml:"latched"`

	// How long the alert may be unacknowledged before the next tier of receivers
	// is called, up to the third. Default 0s: no tier after the first is called.
	EscalateAfter Duration `yaml:"escalate_after" jsonschema:"default=0s"`
}

// At picks places; an empty one picks all.
type At struct {
	// The one place of this name. Either this or kind.
	Place ID `yaml:"place"`

	// All places of this kind. Either this or place.
	Kind string `yaml:"kind" jsonschema:"enum=wrap,enum=bed,enum=seat"`
}

// Limit is true while a signal is beyond a bound; exactly one of above, below
// and outside is given.
type Limit struct {
	// The signal: a site's pressure such as ankle.pressure; mat.pressure or
	// pelvis.pressure, judged for every cell on its own; or one number for a
	// mat or a region, such as mat.peak, mat.mean, mat.area, mat.load or
	// pelvis.peak.
	Watch string `yaml:"watch" jsonschema:"required"`

	// True above this value, in the signal's unit.
	Above *float64 `yaml:"above"`

	// True below this value, in the signal's unit.
	Below *float64 `yaml:"below"`

	// True below the first and above the second value, in the signal's unit.
	Outside *[2]float64 `yaml:"outside"`

	// How far the signal must come back for the condition to end, in its unit;
	// called deadband in ISA-18.2. Default 0.
	Deadband float64 `yaml:"deadband" jsonschema:"minimum=0"`
}
