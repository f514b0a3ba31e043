package shape

// Place is a limb, a bed or a seat with its sensors: sites, a mat, or both.
type Place struct {
	// Name of the place, unique in the file.
	ID ID `yaml:"id" jsonschema:"required"`

	// What kind of place it is.
	Kind string `yaml:"kind" jsonschema:"required,enum=wrap,enum=bed,enum=seat"`

	// Spots whose pressure is measured by one or more channels.
	Sites []Site `yaml:"sites"`

	// Pressure that is wanted at a site, in mmHg, lowest and highest, such as
	// {ankle: [35, 45]}. Shown, not judged. Default: none.
	Target map[string][2]float64 `yaml:"target"`

	// A grid of cells under the body.
	Mat *Mat `yaml:"mat"`
}

// Site is one spot; its pressure is the mean of its channels.
type Site struct {
	// Name of the site, unique within its place.
	ID ID `yaml:"id" jsonschema:"required"`

	// Height along the limb from the floor or the heel, in cm. Default: not known.
	HeightCM *float64 `yaml:"height_cm" jsonschema:"minimum=0,maximum=200"`

	// Circumference of the limb there, in cm. Default: not known.
	CircumferenceCM *float64 `yaml:"circumference_cm" jsonschema:"exclusiveMinimum=0,maximum=200"`

	// Channels that measure there, as bridge/source/channel with channels from
	// 0.
	Channels []ChannelRef `yaml:"channels" jsonschema:"required,minItems=1"`
}

// Mat is a grid of cells: the channels of one source, row by row.
type Mat struct {
	// The source, as bridge/source.
	Source SourceRef `yaml:"source" jsonschema:"required"`

	// Number of rows of cells.
	Rows int `yaml:"rows" jsonschema:"required,minimum=1,maximum=1024"`

	// Number of columns of cells.
	Columns int `yaml:"columns" jsonschema:"required,minimum=1,maximum=1024"`

	// Distance between the centres of neighbouring cells in mm: along a column
	// (row to row), and along a row. Default: not known, and then no areas and
	// loads are given.
	PitchMM *[2]float64 `yaml:"pitch_mm"`

	// The edge at the person's head; on a seat, at the back. The mat is seen
	// from above, row 0 at the top and column 0 at the left. Default first_row.
	Head string `yaml:"head" jsonschema:"enum=first_row,enum=last_row,enum=first_column,enum=last_column,default=first_row"`

	// Whether the map shows the mat as from above or as from below, which its
	// cables may make it do. It decides which side is the left of who lies there:
	// look at the map of somebody on a known side. Default above.
	SeenFrom string `yaml:"seen_from" jsonschema:"enum=above,enum=below,default=above"`

	// Named parts of the mat. Default: of a bed across its length, as shares from the
	// head, head to 12 %, shoulders to 25 %, back to 42 %, pelvis to 58 %, thighs to 75 %,
	// calves to 90 % and heels; of a seat front_left, front_right, back_left and
	// back_right, as the seated person sees them.
	Regions []Region `yaml:"regions" jsonschema:"minItems=1"`

	// Pressure in mmHg above which a cell counts as loaded on the map of durations.
	// Default 20.
	LoadedAbove float64 `yaml:"loaded_above" jsonschema:"minimum=0,maximum=1000,default=20"`

	// How long a cell must be unloaded for its time to start again. Default 0s:
	// at once.
	LoadedResets Duration `yaml:"loaded_resets" jsonschema:"default=0s"`
}

// Region is a rectangle of cells. Regions may overlap.
type Region struct {
	// Name of the region, unique within its place.
	ID ID `yaml:"id" jsonschema:"required"`

	// First and last row, counted from 0, both included.
	Rows [2]int `yaml:"rows" jsonschema:"required"`

	// First and last column, counted from 0, both included.
	Columns [2]int `yaml:"columns" jsonschema:"required"`
}
