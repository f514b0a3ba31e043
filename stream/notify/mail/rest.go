package mail

import (
	"errors"
	"fmt"
	"net/textproto"
	"slices"
	"sync"

	"weald/stream/notify"
)

// A rest is what is left to do for one mail: one recipient that is refused does not
// keep it from the others, and does not have them get it again.
type rest struct {
	to    []string // who has not taken it
	takes []string // whom of them the server takes in this attempt
	later *recipient
	never *recipient // the first that will never be taken, in any attempt
	had   bool       // others have it
}

// A recipient is the answer of a server that does not take one.
type recipient struct {
	error // a *textproto.Error
	to    string
	had   bool // others have the mail
}

func (r *recipient) Unwrap() error { return r.error }

// String goes behind "take it".
func (r *recipient) String() string {
	if r.had {
		return fmt.Sprintf(" for %s (the others have it)", r.to)
	}
	return " for " + r.to
}

// answered notes what the server says of a recipient. Its error ends the attempt: it
// is none about this one.
func (r *rest) answered(to string, err error) error {
	if err == nil {
		r.takes = append(r.takes, to)
		return nil
	}
	answer, ok := errors.AsType[*textproto.Error](err)
	switch {
	case !ok, slices.Contains(account, answer.Code):
		return err
	case answer.Code < 500:
		r.later = &recipient{err, to, false}
		return nil
	case r.never == nil:
		r.never = &recipient{err, to, false}
	}
	r.to = slices.DeleteFunc(slices.Clone(r.to), func(o string) bool { return o == to })
	return nil
}

// taken notes that the server has taken the mail.
func (r *rest) taken() {
	r.had = true
	r.to = slices.DeleteFunc(slices.Clone(r.to), func(o string) bool { return slices.Contains(r.takes, o) })
}

// why returns why somebody has not got it: one who may get it yet comes first, as the
// mail is tried again then.
func (r *rest) why() error {
	for _, w := range []*recipient{r.later, r.never} {
		if w != nil {
			w.had = r.had
			return w
		}
	}
	return nil
}

// rests are what is left of mails that are tried again, by their keys.
type rests struct {
	mu    sync.Mutex
	byKey map[string]*rest // guarded by mu
}

// mostRests bounds what is remembered of mails that were given up meanwhile. Whoever is
// forgotten may get a mail twice.
const mostRests = 1000

func (r *rests) of(key string, all []string) *rest {
	r.mu.Lock()
	defer r.mu.Unlock()
	if left := r.byKey[key]; left != nil {
		return &rest{to: left.to, never: left.never, had: left.had}
	}
	return &rest{to: all}
}

// after notes how an attempt went, and returns its error.
func (r *rests) after(key string, left *rest, err error) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if _, given := errors.AsType[*notify.Refusal](err); err == nil || given {
		delete(r.byKey, key)
		return err
	}
	if r.byKey == nil || len(r.byKey) >= mostRests {
		r.byKey = map[string]*rest{}
	}
	r.byKey[key] = left
	return err
}
