package access

import (
	"net/netip"
	"testing"

	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// What the first version with accounts has kept: every later one lets the same people
// in. The password is "password", its hash a vector of the reference implementation of
// argon2 (src/test.c); the hashes of keys are SHA-256 of "abc" and of "" (FIPS 180-2,
// appendix B.1, and the NIST's examples).
var kept = map[string]string{
	"access/account/anna": `{"name":"Anna","role":"admin","password":"$argon2id$v=19$m=256,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4","made_at":"2026-03-01T11:00:00Z","made_by":"console","changed_at":"2026-03-01T11:00:00Z","directory":"4711-anna"}`,
	"access/account/kai":  `{"name":"kai","made_at":"2026-03-01T11:00:00Z","made_by":"Anna","changed_at":"2026-03-01T11:30:00Z","gone":true}`,
	"access/devices/anna": `{"hashes":["ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"]}`,
	"access/session/qx2":  `{"account":"anna","hash":"ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad","begun":"2026-03-01T11:00:00Z"}`,
	"access/pass/t-1":     `{"id":"t-1","means":"token","name":"scraper","role":"viewer","range":"","ends":"2026-06-01T00:00:00Z","hash":"ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad","made_at":"2026-03-01T11:00:00Z","made_by":"Anna"}`,
	"access/pass/s-1":     `{"id":"s-1","means":"screen","name":"corridor","range":"192.0.2.0/28","hash":"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855","made_at":"2026-03-01T11:00:00Z","made_by":"Anna"}`,

	// What nobody has written so opens nothing.
	"access/account/eva": `{"name":"eva","role":"boss","password":""}`,
	"access/account/ida": `{"name":"anna","role":"admin","password":""}`,
	"access/session/qx3": `{"account":"kai","hash":"00"}`,
	"access/session/qx4": `{"account":"kai","hash":"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855","begun":"2026-03-01T11:00:00Z"}`,
	"access/pass/t-2":    `not JSON`,
	"access/other/x":     `{}`,
}

func TestWhatAnEarlierVersionKept(t *testing.T) {
	j := new(journaltest.Memory)
	for name, body := range kept {
		if _, err := j.PutDocument(t.Context(), record.Document{Name: name, Written: noon, Body: []byte(body)}); err != nil {
			t.Fatal(err)
		}
	}
	a, err := Read(t.Context(), j, DefaultLimits, noon)
	if err != nil {
		t.Fatal(err)
	}
	all := a.Accounts(noon)
	if len(all) != 1 || all[0].Name != "Anna" || all[0].Role != Admin || all[0].Directory != "4711-anna" || all[0].Sessions != 1 || len(a.Passes()) != 2 {
		t.Errorf("%+v, %+v", all, a.Passes())
	}
	if who := a.BySession("abc", noon, false); who.Name != "Anna" {
		t.Errorf("the session is %+v's", who)
	}
	if who := a.BySession("", noon, false); who.Role != Nobody {
		t.Errorf("an account that is gone is let in: %+v", who)
	}
	if who := a.ByToken("abc", netip.Addr{}, noon); who.Name != "scraper" || who.Role != Viewer {
		t.Errorf("the token is %+v's", who)
	}
	if who := a.ByScreen("", netip.MustParseAddr("192.0.2.9"), noon); who.Name != "corridor" || who.Role != Wall {
		t.Errorf("the screen is %+v's", who)
	}
	in, err := a.LogIn(t.Context(), "anna", "password", from("192.0.2.7", "abc"), noon)
	if err != nil || in.Device != "" {
		t.Errorf("logs in: %v, %+v", err, in)
	}
	if again, err := Read(t.Context(), j, DefaultLimits, noon); err != nil || !again.Hasher.Current(again.accounts["anna"].Password) {
		t.Errorf("the hash with old parameters has not been made anew: %v", err)
	}
}
