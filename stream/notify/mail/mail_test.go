package mail

import (
	"bufio"
	"bytes"
	"crypto/tls"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"net"
	"net/mail"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"weald/ingest/tcp/wire"
	"weald/ingest/tcp/wire/wiretest"
	"weald/stream/notify"
	"weald/stream/notify/notifytest"
)

const planted = "p1anted-password-of-mail"

// A server speaks as much SMTP as these tests need, and fails where it is told to.
type server struct {
	tls      *tls.Config
	implicit bool
	offers   string            // lines of EHLO beside STARTTLS
	answers  map[string]string // instead of the usual, by the first word; or the line; "-" hangs up, "!" says nothing, "~" never ends

	mu       sync.Mutex
	mails    []string
	taken    []string // recipients, of whatever became of the mail
	accounts []string // that were tried
	bare     bool     // an account came without TLS
}

func (s *server) serve(c net.Conn) {
	defer c.Close()
	private := false
	if s.implicit {
		c, private = tls.Server(c, s.tls), true
	}
	in := bufio.NewReader(c)
	say := func(text string) { fmt.Fprintf(c, "%s\r\n", text) }
	answer := func(word, usual string) bool {
		a, ok := s.answers[word]
		switch {
		case !ok:
			say(usual)
		case a == "-":
			return false
		case a == "!":
			in.ReadByte() // until the client has had enough
			return false
		case a == "~":
			for err := error(nil); err == nil; {
				_, err = io.WriteString(c, strings.Repeat("2", 1<<12))
			}
			return false
		default:
			say(a)
		}
		return true
	}
	if !answer("greeting", "220 mail.larch ESMTP") {
		return
	}
	for {
		line, err := in.ReadString('\n')
		if err != nil {
			return
		}
		word, rest, _ := strings.Cut(strings.TrimSpace(line), " ")
		if _, ok := s.answers[strings.TrimSpace(line)]; ok {
			word = strings.TrimSpace(line)
		}
		usual := "250 fine"
		switch word {
		case "EHLO":
			usual = "250-mail.larch\r\n250 8BITMIME"
			if s.tls != nil && !private {
				usual = "250-mail.larch\r\n250-STARTTLS\r\n250 8BITMIME"
			}
			if s.offers != "" {
				usual = strings.Replace(usual, "250 8BITMIME", "250-8BITMIME\r\n250 "+s.offers, 1)
			}
		case "STARTTLS":
			usual = "220 go on"
		case "AUTH":
			way, given, _ := strings.Cut(rest, " ")
			if way == "LOGIN" {
				var parts []string
				for _, ask := range []string{"Username:", "Password:"} {
					say("334 " + base64.StdEncoding.EncodeToString([]byte(ask)))
					line, _ := in.ReadString('\n')
					b, _ := base64.StdEncoding.DecodeString(strings.TrimSpace(line))
					parts = append(parts, string(b))
				}
				given = strings.Join(parts, " ")
			} else if b, err := base64.StdEncoding.DecodeString(given); err == nil {
				given = strings.Trim(strings.ReplaceAll(string(b), "\x00", " "), " ")
			}
			s.mu.Lock()
			s.accounts = append(s.accounts, given)
			s.bare = s.bare || !private
			s.mu.Unlock()
			usual = "235 welcome"
		case "RCPT":
			s.mu.Lock()
			s.taken = append(s.taken, rest)
			s.mu.Unlock()
		case "DATA":
			usual = "354 go on"
		case "QUIT":
			usual = "221 bye"
		}
		if !answer(word, usual) {
			return
		}
		switch {
		case word == "STARTTLS" && s.answers[word] == "":
			c, private = tls.Server(c, s.tls), true
			in = bufio.NewReader(c)
		case word == "DATA" && s.answers[word] == "":
			var text strings.Builder
			for {
				line, err := in.ReadString('\n')
				if err != nil {
					return
				}
				if line == ".\r\n" {
					break
				}
				text.WriteString(strings.TrimPrefix(line, "."))
			}
			if s.answers["end"] == "" {
				s.mu.Lock()
				s.mails = append(s.mails, text.String())
				s.mu.Unlock()
			}
			if !answer("end", "250 taken") {
				return
			}
		}
	}
}

func serverTLS(t *testing.T, certificate, key string) *tls.Config {
	t.Helper()
	conf, err := (&wire.ServerTLS{Certificate: certificate, Key: key}).Config(nil)
	if err != nil {
		t.Fatal(err)
	}
	return conf
}

// Over either kind of TLS, and with either kind of account, a mail arrives that
// Python's parser of mail, which nobody of this project wrote, reads as what it is.
func TestMailArrives(t *testing.T) {
	ca := wiretest.NewCA(t)
	certificate, key := ca.Leaf("127.0.0.1")
	for _, c := range []struct {
		security Security
		offers   string
		user     string
	}{{StartTLS, "AUTH PLAIN LOGIN", "weald"}, {StartTLS, "AUTH LOGIN", "weald"}, {Implicit, "AUTH PLAIN", "weald"}, {StartTLS, "", ""}, {None, "", ""}} {
		s := &server{offers: c.offers, implicit: c.security == Implicit}
		if c.security != None {
			s.tls = serverTLS(t, certificate, key)
		}
		b := &Box{Server: notifytest.Serve(t, s.serve), Security: c.security, TLS: &wire.ClientTLS{CA: ca.File},
			User: c.user, Password: notifytest.Secret(t, planted), From: "weald@larch.example", To: []string{"round@larch.example", "night@larch.example"}}
		msg := notifytest.Call()
		if err := b.Send(t.Context(), msg); err != nil {
			t.Errorf("%+v: %v", c, err)
			continue
		}
		s.mu.Lock()
		if len(s.mails) != 1 || s.bare || c.user != "" && (len(s.accounts) != 1 || s.accounts[0] != "weald "+planted) {
			t.Errorf("%+v: %d mails, accounts %q, without TLS %v", c, len(s.mails), s.accounts, s.bare)
		}
		s.mu.Unlock()
	}
	text := compose(notifytest.Call(), "weald@larch.example", []string{"round@larch.example"})
	m, err := mail.ReadMessage(bytes.NewReader(text))
	if err != nil || m.Header.Get("Auto-Submitted") != "auto-generated" || m.Header.Get("Message-ID") != id(notifytest.Call().Key, "weald@larch.example") {
		t.Errorf("%v: %s", err, text)
	}
	for _, line := range bytes.Split(text, []byte("\r\n")) {
		if len(line) > 998 || bytes.ContainsAny(line, "\r\n") { // RFC 5322, 2.1.1 and 2.3
			t.Errorf("line %q", line)
		}
	}
	python, err := exec.LookPath("python3")
	if err != nil {
		t.Skip("no python3: its parser of mail is not asked")
	}
	cmd := exec.CommandContext(t.Context(), python, "-c", `import sys,email,email.policy
m=email.message_from_bytes(sys.stdin.buffer.read(),policy=email.policy.default)
assert not m.defects, m.defects
print(m["subject"], m["to"], m["date"].datetime.isoformat(), m.get_content(), sep="|")`)
	cmd.Stdin = bytes.NewReader(text)
	out, err := cmd.CombinedOutput()
	want := "weald: high: bed-4, turn-due|round@larch.example|2026-03-01T12:00:01+00:00|bed-4: not turned for 2 h – über 60 mmHg. Priority high, raised 2026-03-01 12:00:00 +0000.\n\n" + notify.Caution
	if err != nil || !strings.HasPrefix(strings.ReplaceAll(string(out), "\r\n", "\n"), want) {
		t.Errorf("%v: %s\nwant %s", err, out, want)
	}
}

// A server can fail in every way: no failure counts as a delivery, each is said in
// plain words, and none repeats the password or what the server has said.
func TestServersThatFail(t *testing.T) {
	ca, other := wiretest.NewCA(t), wiretest.NewCA(t)
	certificate, key := ca.Leaf("127.0.0.1")
	wrongName, wrongKey := ca.Leaf("mail.larch")
	good := serverTLS(t, certificate, key)
	on := func(word, answer string) *server {
		return &server{tls: good, offers: "AUTH PLAIN", answers: map[string]string{word: answer}}
	}
	for _, c := range []struct {
		name     string
		s        *server
		security Security
		ca       string
		says     string
		given    bool
	}{
		{name: "refuses", says: "refuses connections"},
		{name: "hangs", s: on("greeting", "!"), says: "for too long"},
		{name: "hangs up at once", s: on("greeting", "-"), says: "ended the connection"},
		{name: "is full", s: on("greeting", "421 busy "+planted), says: "does not take it now: 421"},
		{name: "no SMTP", s: on("greeting", "HTTP/1.1 200 OK"), says: "does not speak SMTP"},
		{name: "offers no TLS", s: &server{offers: "AUTH PLAIN"}, says: "offers no STARTTLS"},
		{name: "takes TLS back", s: on("STARTTLS", "454 not now"), says: "does not take it now: 454"},
		{name: "drops TLS", s: on("STARTTLS", "-"), says: "ended the connection"},
		{name: "hangs in TLS", s: on("STARTTLS", "!"), says: "for too long"},
		{name: "unknown CA", s: &server{tls: good}, ca: other.File, says: "signed by nobody who is trusted"},
		{name: "another name", s: &server{tls: serverTLS(t, wrongName, wrongKey)}, says: "is not for"},
		{name: "plain where TLS begins", s: &server{}, security: Implicit, says: "does not speak TLS"},
		{name: "no accounts", s: &server{tls: good}, says: "takes no account"},
		{name: "wrong account", s: on("AUTH", "535 no "+planted), says: "does not take the account of weald (535)"},
		{name: "another sender", s: on("MAIL", "451 later"), says: "does not take it now: 451"},
		{name: "greylists", s: on("RCPT", "450 later"), says: "does not take it for round@larch.example now: 450"},
		{name: "unknown recipient", s: on("RCPT", "550 nobody "+planted), says: "will never take it for round@larch.example: 550", given: true},
		{name: "no data", s: on("DATA", "554 no"), says: "will never take it: 554", given: true},
		{name: "hangs in data", s: on("DATA", "!"), says: "for too long"},
		{name: "disconnects after data", s: on("end", "-"), says: "ended the connection before it had taken the mail"},
		{name: "hangs after data", s: on("end", "!"), says: "for too long"},
		{name: "never ends a line", s: on("greeting", "~"), says: "says too much"},
		{name: "never ends an answer", s: on("MAIL", "~"), says: "says too much"},
		{name: "disk full after data", s: on("end", "452 full"), says: "does not take it now: 452"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := &Box{Server: wiretest.Vacant(t), Security: c.security, TLS: &wire.ClientTLS{CA: ca.File}, User: "weald",
				Password: notifytest.Secret(t, planted), From: "weald@larch.example", To: []string{"round@larch.example"}, Patience: 10 * time.Second}
			if c.ca != "" {
				b.TLS.CA = c.ca
			}
			if c.security == "" {
				b.Security = StartTLS
			}
			if strings.Contains(c.says, "too long") {
				b.Patience = 300 * time.Millisecond
			}
			if c.s != nil {
				b.Server = notifytest.Serve(t, c.s.serve)
			}
			err := b.Send(t.Context(), notifytest.Call())
			if err == nil || !strings.Contains(err.Error(), c.says) {
				t.Fatalf("%v", err)
			}
			if strings.Contains(err.Error(), planted) {
				t.Errorf("%v says the password", err)
			}
			if _, given := errors.AsType[*notify.Refusal](err); given != c.given {
				t.Errorf("given up: %v, %v", given, err)
			}
			if c.s == nil {
				return
			}
			c.s.mu.Lock()
			defer c.s.mu.Unlock()
			if c.s.bare || len(c.s.mails) > 0 {
				t.Errorf("an account without TLS: %v; mails %q", c.s.bare, c.s.mails)
			}
		})
	}
	// A farewell that fails, or never comes, is after the delivery.
	for _, how := range []string{"-", "!"} {
		s := on("QUIT", how)
		b := &Box{Server: notifytest.Serve(t, s.serve), Security: StartTLS, TLS: &wire.ClientTLS{CA: ca.File}, From: "weald@larch.example", To: []string{"round@larch.example"}, Patience: 10 * time.Second}
		err := b.Send(t.Context(), notifytest.Call())
		s.mu.Lock()
		if err != nil || len(s.mails) != 1 {
			t.Errorf("%v, %d mails", err, len(s.mails))
		}
		s.mu.Unlock()
	}
	// An account is not used without TLS, whatever is configured.
	s := &server{offers: "AUTH PLAIN"}
	b := &Box{Server: notifytest.Serve(t, s.serve), Security: None, User: "weald", Password: notifytest.Secret(t, planted), From: "a@b", To: []string{"a@b"}}
	if err := b.Send(t.Context(), notifytest.Call()); err == nil || len(s.accounts) > 0 {
		t.Errorf("%v, %q", err, s.accounts)
	}
}

// A recipient that the server refuses does not keep a mail from the others, who get it
// once; for that one it is tried again, or given up.
func TestARecipientThatIsRefusedKeepsItFromNoOther(t *testing.T) {
	first := &server{answers: map[string]string{"RCPT TO:<gone@larch.example>": "550 nobody", "RCPT TO:<full@larch.example>": "452 full"}}
	later := &server{answers: map[string]string{"RCPT TO:<gone@larch.example>": "550 nobody"}}
	b := &Box{Security: None, From: "weald@larch.example",
		To: []string{"gone@larch.example", "round@larch.example", "full@larch.example", "night@larch.example"}}
	send := func(s *server, mails int, says string, given bool) {
		t.Helper()
		b.Server = notifytest.Serve(t, s.serve)
		err := b.Send(t.Context(), notifytest.Call())
		s.mu.Lock()
		defer s.mu.Unlock()
		if len(s.mails) != mails || err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%d mails, %v; want %d, %s", len(s.mails), err, mails, says)
		}
		if _, is := errors.AsType[*notify.Refusal](err); is != given {
			t.Errorf("given up: %v, %v", is, err)
		}
	}
	send(first, 1, "does not take it for full@larch.example (the others have it) now: 452", false)
	send(first, 1, "does not take it for full@larch.example (the others have it) now: 452", false)
	send(later, 1, "will never take it for gone@larch.example (the others have it): 550", true)
	if got := strings.Join(later.taken, " "); got != "TO:<full@larch.example>" {
		t.Errorf("once it takes that one, it is sent to %s", got)
	}
	b.To = []string{"gone@larch.example"}
	send(first, 1, "will never take it for gone@larch.example: 550", true)
}
