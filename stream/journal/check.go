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
)

// A Finding is one thing that is wrong with a record.
type Finding struct {
	Trouble Trouble
	Loss           // what and where
	Text    string // one sentence
}

// String returns the sentence.
func (f Finding) String() string { return string(f.Trouble) + ": " + f.Text }
