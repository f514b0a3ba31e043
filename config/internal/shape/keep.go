package shape

// Keep is for how long the record keeps what, one key for each kind of thing.
type Keep struct {
	// Readings as they came, a file for each day; a file goes as a whole. The
	// rules cannot be tried again on what is gone.
	Readings Term `yaml:"readings"`

	// What signals did, second by second.
	Seconds Term `yaml:"seconds"`

	// What signals did, minute by minute.
	Minutes Term `yaml:"minutes"`

	// What signals did, by quarters of an hour.
	Quarters Term `yaml:"quarters"`

	// What went wrong with the program or around it, and what was deleted.
	Faults Term `yaml:"faults"`

	// What people noted.
	Marks Term `yaml:"marks"`

	// Sessions.
	Sessions Term `yaml:"sessions"`

	// Changes of alerts. Those of an alert that stands are kept whatever is
	// said here.
	Alerts Term `yaml:"alerts"`

	// What people did with alerts.
	Actions Term `yaml:"actions"`

	// What became of messages that were to be sent. Those that wait are younger
	// than a day, and are kept whatever is said here.
	Notices Term `yaml:"notices"`

	// Former versions of calibrations and other documents.
	Former Term `yaml:"former"`
}

// Term is when the oldest things of a kind go: whichever comes first.
type Term struct {
	// How old they may become, at most 365d. Default 0: as old as they like.
	Age Duration `yaml:"age"`

	// How many gigabytes (of 1,000,000,000 bytes) they may have together. Default
	// 0: as many as they like.
	Gigabytes float64 `yaml:"gigabytes" jsonschema:"minimum=0,maximum=1000000"`
}
