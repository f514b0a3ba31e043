package access

import (
	"bytes"
	"errors"
	"fmt"
	"net/netip"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/stream/access/password"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
)

const (
	annas  = "vier blaue Heringe"
	others = "sieben graue Kraniche"
)

var noon = sample.At(time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC))

// A door is what the tests stand before.
type door struct {
	*Access
	t   *testing.T
	j   *journaltest.Memory
	now sample.Instant
}

func newDoor(t *testing.T) *door {
	d := &door{t: t, j: new(journaltest.Memory), now: noon}
	d.restart()
	return d
}

func (d *door) restart() {
	d.t.Helper()
	var err error
	if d.Access, err = Read(d.t.Context(), d.j, DefaultLimits, d.now); err != nil {
		d.t.Fatal(err)
	}
	d.Hasher = password.Cheap()
}

func (d *door) deed() Deed { return Deed{By: "console", Now: d.now} }

func (d *door) make(name string, role Role, pass string) {
	d.t.Helper()
	if err := d.Make(d.t.Context(), d.deed(), name, role, pass); err != nil {
		d.t.Fatal(err)
	}
}

func from(addr, device string) *Visit {
	return &Visit{From: netip.MustParseAddr(addr), Device: device}
}

func (d *door) logIn(name, pass string, v *Visit) (LoggedIn, error) {
	return d.LogIn(d.t.Context(), name, pass, v, d.now)
}

func (d *door) in(name, pass string) LoggedIn {
	d.t.Helper()
	got, err := d.logIn(name, pass, from("192.0.2.7", ""))
	if err != nil {
		d.t.Fatal(err)
	}
	return got
}

// opens says whose session a key opens.
func (d *door) opens(key string) string {
	who := d.BySession(key, d.now, false)
	if d.Still(who, Viewer, d.now) != (who.Role > Nobody) {
		d.t.Errorf("%s: what opens does not open still, or the other way round", who.Name)
	}
	return who.Name
}

func TestLifeOfAnAccount(t *testing.T) {
	d := newDoor(t)
	if d.Any() {
		t.Fatal("there is an account before one was made")
	}
	d.make("Anna", Admin, annas)
	d.make("N-4", Carer, others)
	for _, c := range []struct {
		name, pass string
		role       Role
		want       error
	}{
		{"anna", others, Viewer, ErrTaken}, {"a", others, Viewer, ErrName}, {"two words", others, Viewer, ErrName}, {"../etc", others, Viewer, ErrName},
		{"kai", "kurz", Viewer, ErrAsked}, {"kai", others, Wall, ErrAsked}, {"kai", others, Nobody, ErrAsked},
	} {
		if err := d.Make(t.Context(), d.deed(), c.name, c.role, c.pass); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", c.name, err, c.want)
		}
	}
	one := d.in("ANNA", annas)
	if one.Who.Name != "Anna" || one.Who.Role != Admin || d.opens(one.Key) != "Anna" {
		t.Errorf("%+v", one)
	}
	for _, wrong := range [][2]string{{"Anna", others}, {"nobody", annas}, {"", ""}, {"N-4", strings.Repeat("x", 300)}} {
		if _, err := d.logIn(wrong[0], wrong[1], from("192.0.2.7", "")); !errors.Is(err, ErrWrong) {
			t.Errorf("%.20v: %v", wrong, err)
		}
	}
	carer := d.in("n-4", others)
	d.restart()
	if d.opens(one.Key) != "Anna" || d.opens(carer.Key) != "N-4" || d.opens(one.Key+"A") != "" || d.opens("") != "" {
		t.Error("a restart ends log-ins, or lets others in")
	}
	if err := d.SetRole(t.Context(), d.deed(), "n-4", Viewer); err != nil {
		t.Fatal(err)
	}
	if who := d.BySession(carer.Key, d.now, false); who.Role != Viewer {
		t.Errorf("a role is not changed at once: %+v", who)
	}
	for _, err := range []error{d.SetRole(t.Context(), d.deed(), "Anna", Carer), d.Remove(t.Context(), d.deed(), "anna")} {
		if !errors.Is(err, ErrLast) {
			t.Errorf("the last admin: %v", err)
		}
	}
	if err := d.SetPassword(t.Context(), d.deed(), "N-4", annas); err != nil {
		t.Fatal(err)
	}
	if d.opens(carer.Key) != "" {
		t.Error("a session outlasts a change of the password")
	}
	if _, err := d.logIn("N-4", others, from("192.0.2.7", "")); !errors.Is(err, ErrWrong) {
		t.Errorf("the old password: %v", err)
	}
	carer = d.in("N-4", annas)
	if err := d.Remove(t.Context(), d.deed(), "N-4"); err != nil || d.opens(carer.Key) != "" {
		t.Errorf("removed: %v", err)
	}
	d.restart()
	if _, err := d.logIn("N-4", annas, from("192.0.2.7", "")); !errors.Is(err, ErrWrong) || len(d.Accounts(d.now)) != 1 {
		t.Errorf("a removed account: %v, %+v", err, d.Accounts(d.now))
	}
	d.make("N-4", Viewer, others) // its name can be had again
	if err := d.SetRole(t.Context(), d.deed(), "kai", Viewer); !errors.Is(err, ErrNone) {
		t.Errorf("one that is none: %v", err)
	}
}

// A session ends after half an hour in which nobody does anything, after twelve hours
// whatever is done, at a log-out, and where an admin ends it.
func TestSessionsEnd(t *testing.T) {
	d := newDoor(t)
	d.make("anna", Admin, annas)
	at := func(after time.Duration) { d.now = noon.Add(after) }
	idle := d.in("anna", annas).Key
	at(30*time.Minute - time.Nanosecond)
	if d.opens(idle) == "" {
		t.Error("ended before it was idle for long enough")
	}
	d.opens(idle) // that something asked is nobody who does something
	at(30 * time.Minute)
	if d.opens(idle) != "" {
		t.Error("not ended though idle")
	}
	at(time.Hour)
	used := d.in("anna", annas).Key
	for after := time.Hour; after < 13*time.Hour; after += 29 * time.Minute {
		at(after)
		if d.BySession(used, d.now, true).Name != "anna" {
			t.Fatalf("ended after %v though used", after)
		}
	}
	at(13 * time.Hour)
	if d.opens(used) != "" {
		t.Error("lasts for longer than the longest")
	}
	one, other := d.in("anna", annas), d.in("anna", annas)
	if n := d.Accounts(d.now)[0].Sessions; n != 2 {
		t.Errorf("%d sessions last", n)
	}
	if err := d.LogOut(t.Context(), one.Who, d.now); err != nil || d.opens(one.Key) != "" || d.opens(other.Key) == "" {
		t.Errorf("log-out: %v", err)
	}
	if err := d.EndSessions(t.Context(), d.deed(), "Anna"); err != nil || d.opens(other.Key) != "" {
		t.Errorf("all ended: %v", err)
	}
	d.restart()
	if d.opens(one.Key)+d.opens(other.Key)+d.opens(used)+d.opens(idle) != "" {
		t.Error("a restart brings one back")
	}
	first := d.in("anna", annas).Key
	for range mostSessions {
		d.now = d.now.Add(time.Second)
		d.in("anna", annas)
	}
	if d.opens(first) != "" || d.Accounts(d.now)[0].Sessions != mostSessions {
		t.Errorf("%d sessions of one account", d.Accounts(d.now)[0].Sessions)
	}
}

// Who guesses at an account from elsewhere is soon refused, and with that whoever
// comes from elsewhere too; but not from where somebody has logged in before, and not
// for ever.
func TestGuessesAtAnAccount(t *testing.T) {
	d := newDoor(t)
	d.make("anna", Admin, annas)
	d.make("kai", Carer, others)
	known := d.in("anna", annas).Device
	var many TooMany
	guess := func(name, addr, device string) error {
		_, err := d.logIn(name, "falsch, falsch, falsch", from(addr, device))
		return err
	}
	right := func(name, pass, addr, device string) error {
		_, err := d.logIn(name, pass, from(addr, device))
		return err
	}
	for i := range d.byName.Most { // each from an address of its own
		if err := guess("anna", fmt.Sprintf("198.51.100.%d", i), ""); !errors.Is(err, ErrWrong) {
			t.Fatalf("%d: %v", i, err)
		}
	}
	if err := guess("ANNA", "198.51.100.99", ""); !errors.As(err, &many) || many.Wait != d.byName.Every {
		t.Errorf("one more: %v", err)
	}
	if err := right("anna", annas, "198.51.100.99", ""); !errors.As(err, &many) {
		t.Errorf("and the right one, from elsewhere: %v", err)
	}
	if err := right("anna", annas, "198.51.100.99", known); err != nil {
		t.Errorf("from where she has logged in before: %v", err)
	}
	if err := right("kai", others, "198.51.100.99", ""); err != nil {
		t.Errorf("another account: %v", err)
	}
	if err := right("kai", others, "198.51.100.99", known); err != nil {
		t.Errorf("another account, from there: %v", err)
	}
	// An account that there is not is limited in the same way.
	for range d.byName.Most {
		guess("nobody", "203.0.113.1", "")
	}
	if err := guess("nobody", "203.0.113.2", ""); !errors.As(err, &many) {
		t.Errorf("an account that there is not: %v", err)
	}
	// One address has few guesses, at whatever.
	for i := range d.byAddress.Most {
		guess(fmt.Sprint("kai", i), "203.0.113.9", "")
	}
	if err := right("kai", others, "203.0.113.9", ""); !errors.As(err, &many) || many.Wait > d.byAddress.Every {
		t.Errorf("from an address that guesses: %v", err)
	}
	// A device that was taken away has few guesses too.
	for range d.byDevice.Most {
		guess("anna", "192.0.2.7", known)
	}
	if err := right("anna", annas, "192.0.2.7", known); !errors.As(err, &many) {
		t.Errorf("from a device that guesses: %v", err)
	}
	d.now = d.now.Add(d.byName.Every)
	if err := right("anna", annas, "198.51.100.99", ""); err != nil {
		t.Errorf("after a while: %v", err)
	}
}

// Tokens and screens open what they are for, from where they are for, until their end.
func TestPasses(t *testing.T) {
	d := newDoor(t)
	ward := netip.MustParsePrefix("192.0.2.16/28")
	inside, outside := netip.MustParseAddr("192.0.2.20"), netip.MustParseAddr("192.0.2.40")
	token, key, err := d.MakePass(t.Context(), d.deed(), Pass{Means: Token, Name: "scraper", Role: Viewer, Ends: noon.Add(time.Hour)})
	if err != nil {
		t.Fatal(err)
	}
	screen, wall, err := d.MakePass(t.Context(), d.deed(), Pass{Means: Screen, Name: "corridor", Range: ward})
	if err != nil {
		t.Fatal(err)
	}
	check := func(what string, want ...string) {
		t.Helper()
		got := []string{d.ByToken(key, outside, d.now).Role.String(), d.ByToken(wall, inside, d.now).Role.String(),
			d.ByScreen(wall, inside, d.now).Role.String(), d.ByScreen(wall, outside, d.now).Role.String(), d.ByScreen(key, inside, d.now).Role.String()}
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	check("made", "viewer", "nobody", "wall", "nobody", "nobody")
	d.restart()
	check("after a restart", "viewer", "nobody", "wall", "nobody", "nobody")
	if who := d.ByToken(key, inside, d.now); who.Author("K-07") != "scraper (token)" {
		t.Errorf("signs as %q", who.Author("K-07"))
	}
	was := d.ByScreen(wall, inside, d.now)
	if _, err := d.WithdrawPass(t.Context(), Deed{"anna", d.now}, screen.ID); err != nil {
		t.Fatal(err)
	}
	if d.Still(was, Wall, d.now) {
		t.Error("a screen that was withdrawn is shown on")
	}
	d.now = noon.Add(time.Hour)
	check("withdrawn and at an end", "nobody", "nobody", "nobody", "nobody", "nobody")
	if _, err := d.WithdrawPass(t.Context(), d.deed(), screen.ID); !errors.Is(err, ErrGone) {
		t.Errorf("twice: %v", err)
	}
	if _, err := d.WithdrawPass(t.Context(), d.deed(), "t-none"); !errors.Is(err, ErrPass) {
		t.Errorf("none: %v", err)
	}
	if all := d.Passes(); len(all) != 2 || all[0].Used != noon && all[1].Used != noon {
		t.Errorf("%+v", all)
	}
	for _, wrong := range []Pass{
		{Means: Token, Name: "endless", Role: Viewer, Ends: sample.Never}, {Means: Token, Name: "over", Role: Viewer, Ends: d.now},
		{Means: Token, Name: "root", Role: Nobody, Ends: d.now.Add(time.Hour)}, {Means: Screen, Name: "everywhere"}, {Means: Token, Name: "two words", Role: Viewer, Ends: d.now.Add(time.Hour)},
	} {
		if _, key, err := d.MakePass(t.Context(), d.deed(), wrong); !errors.Is(err, ErrAsked) || key != "" {
			t.Errorf("%s: %v", wrong.Name, err)
		}
	}
	for text, want := range map[string]string{"192.0.2.7": "192.0.2.7/32", "192.0.2.9/28": "192.0.2.0/28", "2001:db8::1": "2001:db8::1/128", "::ffff:192.0.2.7": "192.0.2.7/32",
		"": "", "0.0.0.0/0": "", "::/0": "", "ward": "", "192.0.2.7/33": "", "fe80::1%eth0": "", "::ffff:192.0.2.0/120": ""} {
		if p, err := ParseRange(text); err == nil && p.String() != want || (err == nil) != (want != "") {
			t.Errorf("%q: %v %v", text, p, err)
		}
	}
	if console := d.Console(d.now); d.ByToken(console, outside, d.now).Means != Console || d.ByToken(console, outside, d.now.Add(consoleFor)).Role != Nobody {
		t.Error("a key of the console does not open, or for ever")
	}
	_ = token
}

// Nothing in the record opens a door: no password, no key. What people did is there.
func TestTheRecordOpensNothing(t *testing.T) {
	d := newDoor(t)
	d.make("anna", Admin, annas)
	in := d.in("anna", annas)
	_, token, err := d.MakePass(t.Context(), Deed{"anna", d.now}, Pass{Means: Token, Name: "scraper", Role: Viewer, Ends: noon.Add(time.Hour)})
	if err != nil {
		t.Fatal(err)
	}
	if err := d.ChangePassword(t.Context(), &Visit{Who: in.Who}, annas, others, d.now); err != nil || d.opens(in.Key) != "" {
		t.Fatalf("the own password: %v", err)
	}
	var all, said bytes.Buffer
	for doc, err := range d.j.Documents(t.Context(), "") {
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&all, "%s %s\n", doc.Name, doc.Body)
	}
	for e, err := range d.j.Entries(t.Context(), journal.Query{}) {
		if err != nil || e.Ord != 0 {
			t.Fatalf("%+v %v", e, err)
		}
		b, _ := e.Append(nil)
		all.Write(b)
		fmt.Fprintf(&said, "%s %+v\n", e.Author, e.Body)
	}
	for _, secret := range []string{annas, others, in.Key, in.Device, token} {
		if secret == "" || bytes.Contains(bytes.ToUpper(all.Bytes()), []byte(strings.ToUpper(secret))) {
			t.Errorf("%.6s… is in the record", secret)
		}
	}
	for _, deed := range []string{"console {What:account-made Subject:account anna Reason:admin", "anna {What:token-made Subject:token t-", "anna {What:account-password Subject:account anna"} {
		if !strings.Contains(said.String(), deed) {
			t.Errorf("the record does not say %q:\n%s", deed, &said)
		}
	}
}

// What cannot be kept is not done.
func TestWhatIsNotKeptIsNotDone(t *testing.T) {
	d := newDoor(t)
	d.make("anna", Admin, annas)
	in := d.in("anna", annas)
	if err := d.j.Close(); err != nil {
		t.Fatal(err)
	}
	if err := d.Make(t.Context(), d.deed(), "kai", Admin, others); !errors.Is(err, journal.ErrClosed) || d.Known("kai") {
		t.Errorf("made: %v", err)
	}
	if err := d.SetRole(t.Context(), d.deed(), "anna", Admin); !errors.Is(err, journal.ErrClosed) {
		t.Errorf("role: %v", err)
	}
	if _, err := d.logIn("anna", annas, from("192.0.2.7", in.Device)); !errors.Is(err, journal.ErrClosed) {
		t.Errorf("logged in: %v", err)
	}
	if d.opens(in.Key) != "anna" { // who watches alerts watches on
		t.Error("who was in is out")
	}
}

// Holds that whoever gets a name that was in use before is not known by the devices of whoever had
// it, after a start either: those would have guesses of their own at the new password.
func TestDevicesGoWithTheirAccount(t *testing.T) {
	d := newDoor(t)
	d.make("anna", Admin, annas)
	d.make("kai", Carer, others)
	in := d.in("kai", others)
	if err := d.Remove(t.Context(), d.deed(), "kai"); err != nil {
		t.Fatal(err)
	}
	d.make("kai", Carer, annas)
	d.restart()
	again, err := d.logIn("kai", annas, from("192.0.2.7", in.Device))
	if err != nil || in.Device == "" || again.Device == "" {
		t.Errorf("the former one's device %q is known: it gets %q, %v", in.Device, again.Device, err)
	}
}
