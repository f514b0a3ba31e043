package access

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"net/netip"
	"slices"
	"strings"
	"time"

	"weald/ingest/sample"
	"weald/stream/access/guesses"
	"weald/stream/access/password"
)

// MarshalText implements encoding.TextMarshaler.
func (h hash) MarshalText() ([]byte, error) { return []byte(hex.EncodeToString(h[:])), nil }

// UnmarshalText implements encoding.TextUnmarshaler.
func (h *hash) UnmarshalText(b []byte) error {
	plain, err := hex.AppendDecode(nil, b) // of any length
	if err != nil || len(plain) != len(h) {
		return errors.New("this is no hash of a key")
	}
	copy(h[:], plain)
	return nil
}

// A session is what somebody has logged in to. Fields but seen do not change.
type session struct {
	name        string // of its document
	account     string // by name in lower case
	begun, seen sample.Instant
}

type sessionDoc struct {
	Account string    `json:"account"`
	Hash    hash      `json:"hash"`
	Begun   time.Time `json:"begun"`
}

// mostSessions is how many sessions of one account last at the same time, mostDevices
// how many of its devices are remembered: of more the first are forgotten.
const (
	mostSessions = 20
	mostDevices  = 50
)

// ErrWrong is the error of a log-in with a name or a password that are wrong. It does
// not say which: who guesses must not learn what names there are.
var ErrWrong = errors.New("the name or the password is not right")

// ErrBusy is that of one that had to wait for others for too long.
var ErrBusy = errors.New("too many log in at the same time: try again in a moment")

// TooMany is the error of a log-in after too many that were wrong.
type TooMany struct{ Wait time.Duration }

// Error says how long to wait.
func (t TooMany) Error() string {
	return fmt.Sprintf("too many wrong passwords: try again in %.0f s", math.Ceil(t.Wait.Seconds()))
}

// household is an address for counting guesses.
type household = netip.Prefix

// bound sets how many wrong passwords there may be. Whoever comes from elsewhere
// shares what is left for an account with all who guess at it, and waits with them: an
// account cannot be locked for ever, but for a while by whoever guesses on. A browser
// from which somebody has logged in before has guesses of its own, which no outsider
// can use up. (OWASP Authentication Cheat Sheet, and its article on device cookies.)
func (a *Access) bound() {
	a.byAddress.Most, a.byAddress.Every, a.byAddress.Remembered = 20, 30*time.Second, 4096
	a.byName.Most, a.byName.Every, a.byName.Remembered = 10, 2*time.Minute, 4096
	a.byDevice.Most, a.byDevice.Every, a.byDevice.Remembered = 10, time.Minute, 4096
}

// guess takes a guess at an account; right gives it back.
func (a *Access) guess(name string, v *Visit, known bool, now time.Time) (right func(), err error) {
	if known {
		device := hashOf(v.Device)
		if ok, wait := a.byDevice.Take(device, now); !ok {
			return nil, TooMany{wait}
		}
		return func() { a.byDevice.Right(device) }, nil
	}
	from := guesses.Household(v.From)
	if ok, wait := a.byAddress.Take(from, now); !ok {
		return nil, TooMany{wait}
	}
	if ok, wait := a.byName.Take(name, now); !ok {
		a.byAddress.Right(from)
		return nil, TooMany{wait}
	}
	return func() { a.byAddress.Right(from); a.byName.Right(name) }, nil
}

// hashWithin is how long a log-in waits for others.
const hashWithin = 10 * time.Second

// verify reports the account of which name and password are, as it was then. Its
// errors are ErrWrong, ErrBusy and TooMany.
func (a *Access) verify(ctx context.Context, name, pass string, v *Visit, now sample.Instant) (account, error) {
	key := strings.ToLower(name)
	var found account
	a.mu.Lock()
	if x := a.accounts[key]; x != nil {
		found = *x
	}
	a.mu.Unlock()
	if len(name) > 4*32 || len(pass) > password.Longest {
		return account{}, ErrWrong // of no account
	}
	right, err := a.guess(key, v, v.Device != "" && slices.Contains(found.devices, hashOf(v.Device)), now.Time())
	if err != nil {
		return account{}, err
	}
	ctx, cancel := context.WithTimeout(ctx, hashWithin)
	defer cancel()
	switch ok, err := a.Hasher.Matches(ctx, found.Password, pass); {
	case err != nil:
		right()
		return account{}, ErrBusy
	case !ok:
		return account{}, ErrWrong
	}
	right()
	return found, nil
}

// A LoggedIn is what a browser gets.
type LoggedIn struct {
	Who    Who
	Key    string // of the session
	Device string // "" where it has brought one
}

// LogIn begins a session. It is in the record when LogIn returns. Its errors are
// ErrWrong, ErrBusy and TooMany, or those of the record.
func (a *Access) LogIn(ctx context.Context, name, pass string, v *Visit, now sample.Instant) (LoggedIn, error) {
	found, err := a.verify(ctx, name, pass, v, now)
	if err != nil {
		return LoggedIn{}, err
	}
	var rehashed string
	if !a.Hasher.Current(found.Password) {
		if rehashed, err = a.Hasher.Hash(ctx, pass); err != nil {
			return LoggedIn{}, ErrBusy
		}
	}
	a.change.Lock()
	defer a.change.Unlock()
	a.mu.Lock()
	x := a.accounts[strings.ToLower(name)]
	same := x != nil && x.Password == found.Password
	a.mu.Unlock()
	if !same { // changed while it was looked at
		return LoggedIn{}, ErrWrong
	}
	return a.begin(ctx, x, rehashed, v, now)
}

// Enter begins a session of whom a directory of the house has shown. Its errors are
// ErrNone, where no account is that person's, and those of the record.
func (a *Access) Enter(ctx context.Context, who string, v *Visit, now sample.Instant) (LoggedIn, error) {
	a.change.Lock()
	defer a.change.Unlock()
	name := a.inDirectory(who)
	if name == "" {
		return LoggedIn{}, ErrNone
	}
	a.mu.Lock()
	x := a.accounts[strings.ToLower(name)]
	a.mu.Unlock()
	return a.begin(ctx, x, "", v, now)
}

// begin begins a session of an account. The caller holds change.
func (a *Access) begin(ctx context.Context, x *account, rehashed string, v *Visit, now sample.Instant) (in LoggedIn, err error) {
	owner := strings.ToLower(x.Name)
	next := *x
	if rehashed != "" {
		next.Password = rehashed
		if err := a.put(ctx, accountDocs+owner, &next, now); err != nil {
			return in, err
		}
	}
	if v.Device == "" || !slices.Contains(x.devices, hashOf(v.Device)) {
		var h hash
		in.Device, h = newKey()
		next.devices = append(slices.Clone(x.devices), h)
		next.devices = next.devices[max(0, len(next.devices)-mostDevices):]
		if err := a.put(ctx, deviceDocs+owner, devices{next.devices}, now); err != nil {
			return in, err
		}
	}
	if err := a.sweep(ctx, owner, now); err != nil {
		return in, err
	}
	key, h := newKey()
	s := &session{name: sessionDocs + strings.ToLower(rand.Text()), account: owner, begun: now, seen: now}
	if err := a.put(ctx, s.name, sessionDoc{owner, h, now.Time()}, now); err != nil {
		return in, err
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	a.accounts[owner] = &next
	a.sessions[h] = s
	in.Key, in.Who = key, Who{Name: x.Name, Role: x.Role, Means: Session, key: h}
	return in, nil
}

// sweep takes away sessions that are over, and of an account the first of too many.
func (a *Access) sweep(ctx context.Context, owner string, now sample.Instant) error {
	a.mu.Lock()
	var over, own []hash
	for h, s := range a.sessions {
		if !a.lasts(s, now) {
			over = append(over, h)
		} else if s.account == owner {
			own = append(own, h)
		}
	}
	slices.SortFunc(own, func(x, y hash) int { return int(a.sessions[x].begun.Sub(a.sessions[y].begun) / time.Millisecond) })
	a.mu.Unlock()
	return a.end(ctx, append(over, own[:max(0, len(own)-mostSessions+1)]...), now)
}

// end ends sessions: at once, and in the record when it returns. The caller holds
// change. One that the record did not take away has ended until the next start.
func (a *Access) end(ctx context.Context, which []hash, now sample.Instant) error {
	var names []string
	a.mu.Lock()
	for _, h := range which {
		if s := a.sessions[h]; s != nil {
			names = append(names, s.name)
			delete(a.sessions, h)
		}
	}
	a.mu.Unlock()
	var faults []error
	for _, name := range names {
		faults = append(faults, a.put(ctx, name, nil, now))
	}
	return errors.Join(faults...)
}

// endSessions ends all sessions of an account.
func (a *Access) endSessions(ctx context.Context, name string, now sample.Instant) error {
	a.change.Lock()
	defer a.change.Unlock()
	var own []hash
	a.mu.Lock()
	for h, s := range a.sessions {
		if s.account == strings.ToLower(name) {
			own = append(own, h)
		}
	}
	a.mu.Unlock()
	return a.end(ctx, own, now)
}

// LogOut ends the session of who asks.
func (a *Access) LogOut(ctx context.Context, who Who, now sample.Instant) error {
	a.change.Lock()
	defer a.change.Unlock()
	return a.end(ctx, []hash{who.key}, now)
}

// ChangePassword lets who has logged in change the own password, which ends all
// sessions of the account. Its errors are those of LogIn and SetPassword.
func (a *Access) ChangePassword(ctx context.Context, v *Visit, old, pass string, now sample.Instant) error {
	if _, err := a.verify(ctx, v.Who.Name, old, v, now); err != nil {
		return err
	}
	return a.SetPassword(ctx, Deed{v.Who.Name, now}, v.Who.Name, pass)
}

// lasts reports whether a session is not over. The caller holds mu.
func (a *Access) lasts(s *session, now sample.Instant) bool {
	return now.Sub(s.begun) < a.limits.Longest && now.Sub(s.seen) < a.limits.Idle
}

// BySession returns whose session a key opens; nobody, if it opens none. acted says
// that somebody has done something, so that the session is not idle.
func (a *Access) BySession(key string, now sample.Instant, acted bool) Who {
	h := hashOf(key)
	a.mu.Lock()
	defer a.mu.Unlock()
	s := a.sessions[h]
	if s == nil || !a.lasts(s, now) {
		return Who{Means: None}
	}
	x := a.accounts[s.account]
	if x == nil {
		return Who{Means: None}
	}
	if acted && now > s.seen {
		s.seen = now
	}
	return Who{Name: x.Name, Role: x.Role, Means: Session, key: h}
}

// Still reports whether what has shown who it is does so still, for a role at least.
func (a *Access) Still(who Who, least Role, now sample.Instant) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	switch who.Means {
	case Session:
		s := a.sessions[who.key]
		return s != nil && a.lasts(s, now) && a.accounts[s.account] != nil && a.accounts[s.account].Role.May(least)
	case Token, Screen:
		p := a.passes[who.key]
		return p != nil && p.works(now) && p.Role.May(least)
	case Console:
		return now < a.consoles[who.key]
	}
	return who.Role.May(least)
}
