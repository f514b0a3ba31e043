package shape

// Self is what the daemon watches of itself. Each of these raises an alert of the
// daemon's own, which is on the pages and goes to senders of its priority; it cannot be
// acknowledged, and goes by itself a minute after its cause.
type Self struct {
	// Nothing from any bridge for so many seconds. Default limit 300, priority high.
	Silence Own `yaml:"silence"`

	// The loop that judges has not turned for so many seconds. Default limit 20,
	// priority high.
	Loop Own `yaml:"loop"`

	// Less than so many GB free where the record is. Default limit 2 after 1m, priority
	// medium.
	Disk Own `yaml:"disk"`

	// The host's clock was set by more than so many seconds since the start. Default
	// limit 2 after 10s, priority medium.
	ClockStep Own `yaml:"clock_step"`

	// The host's clock may be wrong by so many seconds, as no time server sets it.
	// Default limit 4 after 10m, priority low.
	ClockError Own `yaml:"clock_error"`

	// Readings wait for so many seconds before they are judged. Default limit 1 after
	// 30s, priority high.
	Behind Own `yaml:"behind"`

	// Less than so many percent of the memory free. Default limit 10 after 1m, priority
	// medium.
	Memory Own `yaml:"memory"`

	// The certificate of the pages ends in fewer days than that. Default limit 21,
	// priority medium.
	Certificate Own `yaml:"certificate"`

	// So many beats of the heartbeat were not taken. Default limit 3, priority medium.
	Heartbeat Own `yaml:"heartbeat"`

	// Readings that machines with the role ingest take have not been judged for so many
	// seconds. Default limit 15, priority high.
	Log Own `yaml:"log"`
}

// Own is one thing that the daemon watches of itself. What is left out is as the
// description of its key says.
type Own struct {
	// The number from which on it is wrong.
	Limit *float64 `yaml:"limit" jsonschema:"minimum=0,maximum=1000000"`

	// For how long, at most 1d.
	After *Duration `yaml:"after"`

	// Priority of the alert.
	Priority Priority `yaml:"priority"`

	// true: it is not watched, and silence is then not safety. Default false.
	Off bool `yaml:"off"`
}
