package journal

// A Trouble is one kind of Finding.
type Trouble string

// What can be wrong with a record.
const (
	// Lost: something acknowledged cannot be had any more.
	Lost Trouble = "lost"
	// Unreadable: a kept thing is damaged. It says which, if that is known.
	Unreadable Trouble = "unreadable"
	// Structure: the file that holds things is damaged, or its bookkeeping
	// contradicts them. The things themselves may be whole.
	Structure Trouble = "structure"
	// Mended: a file was damaged once, and has been built anew. What could not
	// be had again is among what is lost, as far as it has numbers.
	Mended Trouble = "mended"
)

// FileFault is the subject of a record.Fault that says that a file of the record
// was damaged and has been mended. It is never over: what was damaged stays so.
const FileFault = "file of the record"

// A Finding is one thing that is wrong with a record.
type Finding struct {
	Trouble Trouble
	Loss           // what and where
	Text    string // one sentence
}

// String returns the sentence.
func (f Finding) String() string { return string(f.Trouble) + ": " + f.Text }
