package shape

// Delimited says what the columns of a text file are. Columns count from 0.
type Delimited struct {
	// What stands between two columns: one character, \t for a tab, or space
	// for any run of blanks. Default a comma.
	Separator string `yaml:"separator" jsonschema:"default=\\,"`

	// Lines to skip at the beginning. Default 0.
	HeaderLines int `yaml:"header_lines" jsonschema:"minimum=0,maximum=10000"`

	// How many columns a row has; another number refuses the row, which finds
	// rows that run together. Default: any number that reaches the columns read.
	Columns int `yaml:"columns" jsonschema:"minimum=0,maximum=65536"`

	// When each row was measured.
	Time Time `yaml:"time" jsonschema:"required"`

	// Columns that are channels, in the order of the channels, such as [1, 2]
	// or [1-12].
	Channels []Range `yaml:"channels" jsonschema:"required,minItems=1"`

	// Cells that mean no reading. Default: the empty cell.
	Empty []Text `yaml:"empty"`

	// Decimal point or comma. Default a point.
	Decimal string `yaml:"decimal" jsonschema:"enum=.,enum=\\,,default=."`

	// Which column names the source of a row, where a file has several.
	// Default: every row is of source 0.
	Source *RowSource `yaml:"source"`
}

// Time is where the time of a row comes from: a column, or a fixed period.
type Time struct {
	// Column that holds the time. Either this or period.
	Column *int `yaml:"column" jsonschema:"minimum=0,maximum=65535"`

	// How the time is written: seconds or milliseconds (on a live link counted
	// by the device, in a file since 1970-01-01 UTC), rfc3339, or a layout that
	// shows how 2006-01-02 15:04:05 would be written. Default seconds.
	As string `yaml:"as"`

	// Time zone of a layout that holds none, such as Europe/Berlin or UTC.
	Zone string `yaml:"zone"`

	// Time from one row to the next, for a file without a time column. Either
	// this or column.
	Period *Duration `yaml:"period"`

	// When the first row was measured, for a file without a time column, in
	// RFC 3339. Default 1970-01-01T00:00:00Z.
	Start string `yaml:"start"`
}

// RowSource names the source of a row.
type RowSource struct {
	// Column that holds the word.
	Column int `yaml:"column" jsonschema:"required,minimum=0,maximum=65535"`

	// Which word stands for which source number, such as {seat: 0, back: 1}.
	Is map[string]int `yaml:"is" jsonschema:"required"`
}
