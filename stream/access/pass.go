package access

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net/netip"
	"slices"
	"strings"
	"time"

	"weald/ingest/sample"
	"weald/stream/access/guesses"
)

// A Pass is a key that is no person's: a token, with which a program does what a role
// may, or the link of a wall screen.
type Pass struct {
	ID    string // names it; opens nothing
	Means Means  // Token or Screen
	Name  string
	Role  Role         // Wall for screens
	Range netip.Prefix // of addresses from which it opens; zero for all, which screens have not
	Ends  sample.Instant

	MadeAt      sample.Instant
	MadeBy      string
	WithdrawnAt sample.Instant // Never while it is not
	WithdrawnBy string
	Used        sample.Instant // when it was last used since the start; Past if it was not
}

// passDoc is what is kept of one.
type passDoc struct {
	ID          string       `json:"id"`
	Means       Means        `json:"means"`
	Name        string       `json:"name"`
	Role        Role         `json:"role,omitempty"` // of tokens
	Range       netip.Prefix `json:"range"`
	Ends        *time.Time   `json:"ends,omitempty"`
	Hash        hash         `json:"hash"`
	MadeAt      time.Time    `json:"made_at"`
	MadeBy      string       `json:"made_by"`
	WithdrawnAt *time.Time   `json:"withdrawn_at,omitempty"`
	WithdrawnBy string       `json:"withdrawn_by,omitempty"`
}

func (d *passDoc) pass() *Pass {
	p := &Pass{ID: d.ID, Means: d.Means, Name: d.Name, Role: d.Role, Range: d.Range, Ends: sample.Never,
		MadeAt: sample.At(d.MadeAt), MadeBy: d.MadeBy, WithdrawnAt: sample.Never, WithdrawnBy: d.WithdrawnBy, Used: sample.Past}
	if p.Means != Token {
		p.Means, p.Role = Screen, Wall
	}
	if d.Ends != nil {
		p.Ends = sample.At(*d.Ends)
	}
	if d.WithdrawnAt != nil {
		p.WithdrawnAt = sample.At(*d.WithdrawnAt)
	}
	return p
}

func (p *Pass) doc(h hash) *passDoc {
	d := &passDoc{ID: p.ID, Means: p.Means, Name: p.Name, Range: p.Range, Hash: h, MadeAt: p.MadeAt.Time(), MadeBy: p.MadeBy, WithdrawnBy: p.WithdrawnBy}
	if p.Means == Token {
		d.Role = p.Role
	}
	for at, to := range map[*sample.Instant]**time.Time{&p.Ends: &d.Ends, &p.WithdrawnAt: &d.WithdrawnAt} {
		if *at != sample.Never {
			t := at.Time()
			*to = &t
		}
	}
	return d
}

// works reports whether a pass is neither withdrawn nor over.
func (p *Pass) works(now sample.Instant) bool {
	return p.WithdrawnAt == sample.Never && now < p.Ends
}

// LongestToken is for how long a token may work: what nobody remembers ends.
const LongestToken = 366 * 24 * time.Hour

// mostPasses is how many may work at the same time.
const mostPasses = 200

// MakePass makes a pass, of which Means, Name, Role, Range and Ends are asked for, and
// returns it with its key, which nobody can have again. It is in the record when it
// returns. Its errors say what is wrong with what was asked for, wrap ErrMany, or are
// those of the record.
func (a *Access) MakePass(ctx context.Context, d Deed, ask Pass) (Pass, string, error) {
	switch {
	case !nameForm.MatchString(ask.Name):
		return Pass{}, "", asked{ErrName}
	case ask.Means == Token && checkRole(ask.Role) != nil:
		return Pass{}, "", checkRole(ask.Role)
	case ask.Means == Token && (ask.Ends <= d.Now || ask.Ends > d.Now.Add(LongestToken)):
		return Pass{}, "", askedf("a token ends: give a time from now to %s", d.Now.Add(LongestToken).Time().Format(time.DateOnly))
	case ask.Means == Screen && !ask.Range.IsValid():
		return Pass{}, "", askedf("a screen is bound to a range of addresses: give one such as 192.0.2.0/28")
	case ask.Means == Screen:
		ask.Role, ask.Ends = Wall, sample.Never
	}
	if ask.Range.IsValid() {
		ask.Range = ask.Range.Masked()
	}
	a.change.Lock()
	defer a.change.Unlock()
	working := 0
	a.mu.Lock()
	for _, p := range a.passes {
		if p.works(d.Now) {
			working++
		}
	}
	a.mu.Unlock()
	if working >= mostPasses {
		return Pass{}, "", ErrMany
	}
	key, h := newKey()
	p := Pass{ID: string(ask.Means[0]) + "-" + strings.ToLower(rand.Text()[:8]), Means: ask.Means, Name: ask.Name, Role: ask.Role, Range: ask.Range, Ends: ask.Ends,
		MadeAt: d.Now, MadeBy: d.By, WithdrawnAt: sample.Never, Used: sample.Past}
	return p, key, a.keepPass(ctx, d, "made", &p, h)
}

func askedf(format string, args ...any) error { return asked{fmt.Errorf(format, args...)} }

// How wide a range of addresses may be: it is one building's at most.
const (
	widest4 = 8
	widest6 = 32
)

// ParseRange returns a range of addresses, as 192.0.2.0/28, or of one, as 192.0.2.7.
func ParseRange(text string) (netip.Prefix, error) {
	p, err := netip.ParsePrefix(text)
	if err != nil {
		addr, bad := netip.ParseAddr(text)
		if bad != nil || addr.Zone() != "" {
			return netip.Prefix{}, askedf("%q is no range of addresses: give one such as 192.0.2.0/28", text)
		}
		addr = addr.Unmap()
		p = netip.PrefixFrom(addr, addr.BitLen())
	}
	least := widest6
	if p.Addr().Is4() {
		least = widest4
	}
	if p.Bits() < least || p.Addr().Is4In6() {
		return netip.Prefix{}, askedf("%s is no range of one place: give /%d or narrower", text, least)
	}
	return p.Masked(), nil
}

// OpenScreen is ByScreen, and counts those keys that are none: its errors are ErrKey
// and TooMany.
func (a *Access) OpenScreen(key string, v *Visit, now sample.Instant) (Who, error) {
	from := guesses.Household(v.From)
	if ok, wait := a.byAddress.Take(from, now.Time()); !ok {
		return Who{}, TooMany{wait}
	}
	who := a.ByScreen(key, v.From, now)
	if who.Role == Nobody {
		return Who{}, ErrKey
	}
	a.byAddress.Right(from)
	return who, nil
}

// ErrKey is the error of a screen's link that opens nothing.
var ErrKey = errors.New("this link opens nothing here: it was withdrawn, is for screens at other addresses, or never was one")

// WithdrawPass ends a pass at once. Its errors wrap ErrPass or ErrGone, or are those of
// the record, and it works on then, unless they wrap journal.ErrLater.
func (a *Access) WithdrawPass(ctx context.Context, d Deed, id string) (Pass, error) {
	a.change.Lock()
	defer a.change.Unlock()
	a.mu.Lock()
	var p Pass
	var of hash
	for h, x := range a.passes {
		if x.ID == id {
			p, of = *x, h
		}
	}
	a.mu.Unlock()
	switch {
	case p.ID == "":
		return p, ErrPass
	case p.WithdrawnAt != sample.Never:
		return p, ErrGone
	}
	p.WithdrawnAt, p.WithdrawnBy = d.Now, d.By
	return p, a.keepPass(ctx, d, "withdrawn", &p, of)
}

// keepPass keeps a pass, and puts it into force. The caller holds change.
func (a *Access) keepPass(ctx context.Context, d Deed, what string, p *Pass, h hash) error {
	late := a.note(ctx, d, string(p.Means)+"-"+what, string(p.Means)+" "+p.ID, p.Name)
	if unkept(late) {
		return late
	}
	err := a.put(ctx, passDocs+p.ID, p.doc(h), d.Now)
	if unkept(err) {
		return err
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	kept := *p
	a.passes[h] = &kept
	return errors.Join(late, err)
}

// Passes returns all, the one that was made first comes first.
func (a *Access) Passes() []Pass {
	a.mu.Lock()
	defer a.mu.Unlock()
	out := []Pass{}
	for _, p := range a.passes {
		out = append(out, *p)
	}
	slices.SortFunc(out, func(x, y Pass) int {
		if x.MadeAt != y.MadeAt {
			return int(max(-1, min(1, x.MadeAt.Sub(y.MadeAt))))
		}
		return strings.Compare(x.ID, y.ID)
	})
	return out
}

// ByToken returns which program brings a key; nobody, if it opens nothing.
func (a *Access) ByToken(key string, from netip.Addr, now sample.Instant) Who {
	a.mu.Lock()
	until, console := a.consoles[hashOf(key)]
	a.mu.Unlock()
	if console && now < until {
		return Who{Name: "console", Role: Admin, Means: Console, key: hashOf(key)}
	}
	return a.byPass(Token, key, from, now)
}

// ByScreen returns which wall screen brings a key; nobody, if it opens nothing there.
func (a *Access) ByScreen(key string, from netip.Addr, now sample.Instant) Who {
	return a.byPass(Screen, key, from, now)
}

func (a *Access) byPass(means Means, key string, from netip.Addr, now sample.Instant) Who {
	h := hashOf(key)
	a.mu.Lock()
	defer a.mu.Unlock()
	p := a.passes[h]
	if p == nil || p.Means != means || !p.works(now) || p.Range.IsValid() && !p.Range.Contains(from) {
		return Who{Means: None}
	}
	p.Used = now
	return Who{Name: p.Name, Role: p.Role, Means: means, key: h}
}

// consoleFor is how long a command on the machine may take.
const consoleFor = 12 * time.Hour

// Console returns a key for a command on this machine, which has shown that it may
// read the record. It is in memory alone.
func (a *Access) Console(now sample.Instant) string {
	key, h := newKey()
	a.mu.Lock()
	defer a.mu.Unlock()
	for old, until := range a.consoles {
		if now >= until {
			delete(a.consoles, old)
		}
	}
	a.consoles[h] = now.Add(consoleFor)
	return key
}
