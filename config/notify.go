package config

import (
	"net/mail"
	"net/url"
	"slices"
	"strings"
	"time"

	"weald/config/internal/shape"
	"weald/config/internal/tree"
	"weald/ingest/tcp/wire"
	"weald/rules/alert"
	"weald/stream/notify"
	"weald/stream/notify/secret"
)

// A Sender is a way to somebody. Exactly one of its ways is not nil.
type Sender struct {
	notify.Spec
	Webhook *Webhook
	Mail    *Mail
	Topic   *Topic
}

// A Webhook is a program that takes HTTP requests.
type Webhook struct {
	URL             string // "" where Address has it
	Address, Secret secret.Source
	TLS             *wire.ClientTLS
}

// A Mail is a mail server and who gets mail.
type Mail struct {
	Server   string // host:port
	Security string // "starttls", "implicit" or "none"
	TLS      *wire.ClientTLS
	User     string // "" for none
	Password secret.Source
	From     string
	To       []string
}

// A Topic is where at a broker messages go.
type Topic struct {
	Broker   string // host:port
	Name     string // of which all topics are below
	User     string // "" for none
	Password secret.Source
	ClientID string
	TLS      *wire.ClientTLS
}

// The bounds of give_up_after: what waits must be younger than the least age at
// which the record lets anything go.
const (
	leastWait = time.Minute
	mostWait  = 20 * time.Hour
)

func (r *reader) notify() []Sender {
	if len(r.file.Notify) > 0 && r.file.Data == "" && !r.doc.Faulty(tree.Path{"data"}) {
		r.doc.Report(tree.Path{"notify"}, "notify needs a record, for what is to be sent is on the disk first: give data")
	}
	var out []Sender
	seen := map[string]tree.Path{}
	for i, s := range r.file.Notify {
		path := tree.Path{"notify", i}
		r.unique(seen, string(s.ID), "sender", path.With("id"))
		r.at(s.At, path.With("at"))
		one := Sender{Spec: notify.Spec{
			ID: string(s.ID), Places: r.covered(s.At), Windows: r.windows(s.When, path.With("when")),
			FollowUps: s.FollowUps == nil || *s.FollowUps, TestAt: time.Duration(s.DailyTest),
			GiveUp: time.Duration(s.GiveUpAfter), Most: s.MostWaiting,
		}}
		for _, p := range s.Priorities {
			priority, _ := alert.ParsePriority(string(p))
			one.Priorities = append(one.Priorities, priority)
		}
		if at := path.With("give_up_after"); (one.GiveUp < leastWait || one.GiveUp > mostWait) && !r.doc.Faulty(at) {
			r.doc.Report(at, "give_up_after is %v: give from 1m to 20h", one.GiveUp)
		}
		r.way(s, &one, path)
		out = append(out, one)
	}
	return out
}

// way checks that a sender has one way, and that it can be gone.
func (r *reader) way(s shape.Sender, out *Sender, path tree.Path) {
	var ways []string
	for _, key := range []string{"webhook", "mail", "topic"} {
		if r.doc.Has(path.With(key)) {
			ways = append(ways, key)
		}
	}
	switch {
	case len(ways) == 0:
		r.doc.Report(path, "the sender has no way: give one of webhook, mail and topic")
	case len(ways) > 1:
		r.doc.Report(path.With(ways[1]), "the sender has both %s and %s: give each a sender of its own", ways[0], ways[1])
	case s.Webhook != nil:
		out.Webhook = r.webhook(*s.Webhook, path.With("webhook"))
	case s.Mail != nil:
		out.Mail = r.mail(*s.Mail, path.With("mail"))
	case s.Topic != nil:
		out.Topic = r.topic(*s.Topic, out.ID, "sender "+out.ID, path.With("topic"))
	}
}

// covered returns the ids of places that at picks, nil for all.
func (r *reader) covered(at shape.At) []string {
	if at == (shape.At{}) {
		return nil
	}
	out := []string{}
	for _, p := range r.file.Places {
		if at.Place == p.ID || at.Kind != "" && at.Kind == p.Kind {
			out = append(out, string(p.ID))
		}
	}
	return out
}

func (r *reader) windows(list []shape.When, path tree.Path) []notify.Window {
	var out []notify.Window
	for i, w := range list {
		one := notify.Window{From: time.Duration(w.From), To: time.Duration(w.To)}
		for k, t := range w.Tiers {
			if slices.Contains(one.Tiers, int(t)) {
				r.doc.Report(path.With(i, "tiers", k), "tier %d is given twice: leave one out", int(t))
			}
			one.Tiers = append(one.Tiers, int(t))
		}
		for _, d := range w.Days {
			one.Days = append(one.Days, time.Weekday(d))
		}
		out = append(out, one)
	}
	return out
}

// secret takes the two keys that can name where a secret is.
func (r *reader) secret(file, env, what string, needed bool, path tree.Path) secret.Source {
	switch {
	case file != "" && env != "":
		r.doc.Report(path.With(what+"_env"), "%s_file and %s_env are both given: give one of them", what, what)
	case needed && file == "" && env == "" && !r.doc.Faulty(path.With(what+"_file")) && !r.doc.Faulty(path.With(what+"_env")):
		r.doc.Report(path, "%s is missing: give %s_file with a file, or %s_env with a variable of the environment", what, what, what)
	case strings.ContainsAny(env, "= \x00"):
		r.doc.Report(path.With(what+"_env"), "%s_env is %q: give the name of a variable such as WEALD_SECRET", what, tree.Clip(env))
	}
	return secret.Source{File: r.path(file, r.folder), Env: env}
}

func (r *reader) webhook(w shape.Webhook, path tree.Path) *Webhook {
	out := &Webhook{URL: w.URL, Secret: r.secret(w.SecretFile, w.SecretEnv, "secret", true, path)}
	if w.URL != "" && (w.URLFile != "" || w.URLEnv != "") {
		r.doc.Report(path.With("url"), "url is given, and another key has the address too: give one of them")
	} else if w.URL == "" && !r.doc.Faulty(path.With("url")) {
		out.Address = r.secret(w.URLFile, w.URLEnv, "url", true, path)
	}
	if w.URL != "" {
		to, err := url.Parse(w.URL)
		at := path.With("url")
		switch {
		case err != nil || to.Host == "" || to.Scheme != "http" && to.Scheme != "https":
			r.doc.Report(at, "url is no address: give one such as https://desk.larch/weald") // it may hold a secret
		case to.User != nil:
			r.doc.Report(at, "url has a user or a password in it, which would be kept and shown: give url_file")
		case to.Scheme == "http" && w.TLS != nil:
			r.doc.Report(path.With("tls"), "tls is given, but url is http: give https, or leave tls out")
		}
	}
	if w.TLS != nil {
		out.TLS = r.clientTLS(*w.TLS, path.With("tls"))
	}
	return out
}

func (r *reader) mail(m shape.Mail, path tree.Path) *Mail {
	out := &Mail{Server: m.Server, Security: m.Security, User: string(m.User), From: m.From, To: m.To,
		Password: r.secret(m.PasswordFile, m.PasswordEnv, "password", m.User != "", path)}
	if !r.doc.Faulty(path.With("server")) {
		r.address(m.Server, path.With("server"))
	}
	if m.Security == "none" {
		if m.User != "" {
			r.doc.Report(path.With("user"), "user is given, but security is none, so that the password could be read on its way: give starttls or implicit")
		}
		if m.TLS != nil {
			r.doc.Report(path.With("tls"), "tls is given, but security is none: leave one of them out")
		}
	}
	if out.Password.Given() && m.User == "" {
		r.doc.Report(path, "a password is given, but no user: give user")
	}
	if m.TLS != nil {
		out.TLS = r.clientTLS(*m.TLS, path.With("tls"))
	}
	r.mailbox(m.From, path.With("from"))
	for i, to := range m.To {
		r.mailbox(to, path.With("to", i))
	}
	return out
}

// mailbox checks a bare address, without a name.
func (r *reader) mailbox(text string, path tree.Path) {
	a, err := mail.ParseAddress(text)
	if (err != nil || a.Address != text) && !r.doc.Faulty(path) {
		r.doc.Report(path, "%s is %q: give an address such as round@larch.example", path.Name(), tree.Clip(text))
	}
}

// topic checks where at a broker something goes. Its names are made of id where the
// file gives none, and whose says who it is.
func (r *reader) topic(t shape.Topic, id, whose string, path tree.Path) *Topic {
	out := &Topic{Broker: t.Broker, Name: t.Name, User: string(t.User), ClientID: string(t.ClientID),
		Password: r.secret(t.PasswordFile, t.PasswordEnv, "password", false, path)}
	if !r.doc.Faulty(path.With("broker")) {
		r.address(t.Broker, path.With("broker"))
	}
	if out.Name == "" {
		out.Name = "weald/" + id
	}
	if len(out.Name) > 200 || strings.ContainsAny(out.Name, "+#\x00") || strings.HasPrefix(out.Name, "$") || strings.HasPrefix(out.Name, "/") || strings.HasSuffix(out.Name, "/") {
		r.doc.Report(path.With("name"), "name is %q: give a topic such as weald/larch, without +, # and a slash at either end", tree.Clip(out.Name))
	}
	if out.Password.Given() && t.User == "" {
		r.doc.Report(path, "a password is given, but no user: MQTT knows no password without one, give user")
	}
	if out.ClientID == "" {
		out.ClientID = "weald-send-" + id
	}
	at := path
	if t.ClientID != "" {
		at = path.With("client_id")
	}
	r.onlyClient(out.ClientID, t.Broker, whose, at)
	if t.TLS != nil {
		out.TLS = r.clientTLS(*t.TLS, path.With("tls"))
	}
	return out
}
