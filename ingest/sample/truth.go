package sample

// A Truth is the answer to a question that may lack data.
//
// Its zero value is Maybe, so that forgetting to set one can never read as
// "no". The three values form Kleene's strong logic: And is the smaller, Or the
// larger, Not the opposite.
type Truth int8

// The three answers.
const (
	No    Truth = -1
	Maybe Truth = 0
	Yes   Truth = +1
)

// Of returns Yes or No.
func Of(b bool) Truth {
	if b {
		return Yes
	}
	return No
}

// And is No if either side is No, whatever the other side is.
func (t Truth) And(u Truth) Truth { return min(t, u) }

// Or is Yes if either side is Yes, whatever the other side is.
func (t Truth) Or(u Truth) Truth { return max(t, u) }

// Not is the opposite; what is unknown stays unknown.
func (t Truth) Not() Truth { return -t }

// String returns "yes", "no" or "unknown".
func (t Truth) String() string {
	switch t {
	case Yes:
		return "yes"
	case No:
		return "no"
	}
	return "unknown"
}
