package access

import (
	"context"
	"errors"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"weald/ingest/sample"
	"weald/stream/access/password"
)

// An Account is what is known of one, which is not its password.
type Account struct {
	Name      string
	Role      Role
	MadeAt    time.Time
	MadeBy    string
	ChangedAt time.Time // the password, or the role
	Directory string    // who it is to a directory of the house; "" for nobody
	Sessions  int       // that last
}

// account is what is kept of one.
type account struct {
	Name      string    `json:"name"`
	Role      Role      `json:"role,omitempty"`
	Password  string    `json:"password,omitempty"`
	MadeAt    time.Time `json:"made_at"`
	MadeBy    string    `json:"made_by"`
	ChangedAt time.Time `json:"changed_at"`
	Directory string    `json:"directory,omitempty"`
	Gone      bool      `json:"gone,omitempty"`

	devices []hash
}

// devices are those from which somebody has logged in to an account.
type devices struct {
	Hashes []hash `json:"hashes"`
}

// mostAccounts is how many there can be.
const mostAccounts = 1000

// Names begin with a letter. Those of two people on a ward differ in more than capitals.
var nameForm = regexp.MustCompile(`^\pL[\pL\pN._-]{1,31}$`)

// Accounts returns all, by name.
func (a *Access) Accounts(now sample.Instant) []Account {
	a.mu.Lock()
	defer a.mu.Unlock()
	out := []Account{}
	for key, x := range a.accounts {
		one := Account{Name: x.Name, Role: x.Role, MadeAt: x.MadeAt, MadeBy: x.MadeBy, ChangedAt: x.ChangedAt, Directory: x.Directory}
		for _, s := range a.sessions {
			if s.account == key && a.lasts(s, now) {
				one.Sessions++
			}
		}
		out = append(out, one)
	}
	slices.SortFunc(out, func(x, y Account) int { return strings.Compare(strings.ToLower(x.Name), strings.ToLower(y.Name)) })
	return out
}

// checkRole says why an account or a token cannot have a role.
func checkRole(role Role) error {
	if slices.Contains(Roles(), role) {
		return nil
	}
	_, err := ParseRole(role.String())
	return asked{err}
}

// Known reports whether there is an account of a name.
func (a *Access) Known(name string) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.accounts[strings.ToLower(name)] != nil
}

// Any reports whether there is an account at all.
func (a *Access) Any() bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	return len(a.accounts) > 0
}

// Make makes an account. Its errors wrap ErrName, ErrTaken or ErrMany, or are about
// the password, or are those of the record, and there is no account then, unless they
// wrap journal.ErrLater.
func (a *Access) Make(ctx context.Context, d Deed, name string, role Role, pass string) error {
	if !nameForm.MatchString(name) {
		return asked{ErrName}
	}
	if err := checkRole(role); err != nil {
		return err
	}
	if err := password.Check(pass, name); err != nil {
		return asked{err}
	}
	kept, err := a.Hasher.Hash(ctx, pass)
	if err != nil {
		return err
	}
	a.change.Lock()
	defer a.change.Unlock()
	a.mu.Lock()
	_, taken := a.accounts[strings.ToLower(name)]
	many := len(a.accounts) >= mostAccounts
	a.mu.Unlock()
	switch {
	case taken:
		return ErrTaken
	case many:
		return ErrMany
	}
	at := d.Now.Time()
	return a.keep(ctx, d, "account-made", role.String(), account{Name: name, Role: role, Password: kept, MadeAt: at, MadeBy: d.By, ChangedAt: at})
}

// SetRole gives an account another role, at once. Its errors wrap ErrNone or ErrLast.
func (a *Access) SetRole(ctx context.Context, d Deed, name string, role Role) error {
	if err := checkRole(role); err != nil {
		return err
	}
	return a.alter(ctx, d, name, roleDeed, role.String(), func(x *account) { x.Role, x.ChangedAt = role, d.Now.Time() })
}

// mostDirectory is how long what a directory calls somebody may be, in bytes.
const mostDirectory = 200

// SetDirectory says who an account is to a directory of the house, which may then log
// in there; "" for nobody any more. Its errors wrap ErrNone, ErrTaken or ErrAsked.
func (a *Access) SetDirectory(ctx context.Context, d Deed, name, who string) error {
	if len(who) > mostDirectory || !utf8.ValidString(who) || strings.ContainsFunc(who, unicode.IsControl) {
		return askedf("what the directory calls somebody has at most %d bytes of text", mostDirectory)
	}
	if other := a.inDirectory(who); other != "" && !strings.EqualFold(other, name) {
		return ErrTaken
	}
	return a.alter(ctx, d, name, directoryDeed, "", func(x *account) { x.Directory = who })
}

// inDirectory returns the name of the account that somebody in a directory has, or "".
func (a *Access) inDirectory(who string) string {
	a.mu.Lock()
	defer a.mu.Unlock()
	for _, x := range a.accounts {
		if who != "" && x.Directory == who {
			return x.Name
		}
	}
	return ""
}

// What is done with an account that leaves its password as it is.
const (
	roleDeed      = "account-role"
	directoryDeed = "account-directory"
)

// SetPassword gives an account another password, and ends its sessions. Its errors
// wrap ErrNone, or are about the password.
func (a *Access) SetPassword(ctx context.Context, d Deed, name, pass string) error {
	if err := password.Check(pass, name); err != nil {
		return asked{err}
	}
	kept, err := a.Hasher.Hash(ctx, pass)
	if err != nil {
		return err
	}
	late := a.alter(ctx, d, name, "account-password", "", func(x *account) { x.Password, x.ChangedAt = kept, d.Now.Time() })
	if unkept(late) {
		return late
	}
	return errors.Join(late, a.endSessions(ctx, name, d.Now))
}

// Remove takes an account away, and ends its sessions. Its errors wrap ErrNone or
// ErrLast.
func (a *Access) Remove(ctx context.Context, d Deed, name string) error {
	// What is left of it says that the name was in use: documents count their versions.
	late := a.alter(ctx, d, name, "account-removed", "", func(x *account) {
		*x = account{Name: x.Name, MadeAt: x.MadeAt, MadeBy: x.MadeBy, ChangedAt: d.Now.Time(), Gone: true, devices: x.devices} // keep forgets those
	})
	if unkept(late) {
		return late
	}
	return errors.Join(late, a.endSessions(ctx, name, d.Now))
}

// EndSessions logs an account out everywhere. Its errors wrap ErrNone.
func (a *Access) EndSessions(ctx context.Context, d Deed, name string) error {
	a.mu.Lock()
	_, known := a.accounts[strings.ToLower(name)]
	a.mu.Unlock()
	if !known {
		return ErrNone
	}
	late := a.note(ctx, d, "account-logged-out", "account "+name, "")
	if unkept(late) {
		return late
	}
	return errors.Join(late, a.endSessions(ctx, name, d.Now))
}

// alter changes an account.
func (a *Access) alter(ctx context.Context, d Deed, name, what, reason string, f func(*account)) error {
	a.change.Lock()
	defer a.change.Unlock()
	a.mu.Lock()
	was, known := a.accounts[strings.ToLower(name)]
	admins := 0
	for _, x := range a.accounts {
		if x.Role == Admin {
			admins++
		}
	}
	a.mu.Unlock()
	if !known {
		return ErrNone
	}
	next := *was
	f(&next)
	if was.Role == Admin && next.Role != Admin && admins == 1 {
		return ErrLast
	}
	return a.keep(ctx, d, what, reason, next)
}

// keep keeps an account, and puts it into force. The caller holds change. What goes wrong before
// the account itself is kept leaves it as it is.
func (a *Access) keep(ctx context.Context, d Deed, what, reason string, x account) error {
	late := a.note(ctx, d, what, "account "+x.Name, reason)
	if unkept(late) {
		return late
	}
	key := strings.ToLower(x.Name)
	if what != roleDeed && what != directoryDeed && len(x.devices) > 0 { // whoever knew the former password is a stranger
		err := a.put(ctx, deviceDocs+key, devices{}, d.Now)
		if unkept(err) {
			return err
		}
		x.devices, late = nil, errors.Join(late, err)
	}
	err := a.put(ctx, accountDocs+key, &x, d.Now)
	if unkept(err) {
		return err
	}
	late = errors.Join(late, err)
	a.mu.Lock()
	defer a.mu.Unlock()
	if x.Gone {
		delete(a.accounts, key)
	} else {
		a.accounts[key] = &x
	}
	return late
}
