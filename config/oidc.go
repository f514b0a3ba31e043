package config

import (
	"net/url"
	"strings"

	"weald/config/internal/tree"
	"weald/stream/notify/secret"
)

// An OIDC is a directory of the house that speaks OpenID Connect.
type OIDC struct {
	Issuer, ClientID, Claim string
	Secret                  secret.Source // none for a public client
	Base                    string        // scheme and host of the pages, without a slash at the end
}

// oidc checks at which directory people can log in.
func (r *reader) oidc() *OIDC {
	o, path := r.file.Web.OIDC, tree.Path{"web", "oidc"}
	if o == nil {
		return nil
	}
	if r.file.Web.Accounts == "" {
		r.doc.Report(path, "oidc shows who somebody is, and what that person may do is a matter of accounts: give accounts: required")
	}
	for _, one := range []struct {
		key, text string
		root      bool
	}{{"issuer", o.Issuer, false}, {"base", o.Base, true}} {
		u, err := url.Parse(one.text)
		local := err == nil && isLoopback(u.Hostname())
		switch {
		case r.doc.Faulty(path.With(one.key)):
		case err != nil || u.Host == "" || u.User != nil || u.RawQuery != "" || u.Fragment != "" || u.Scheme != "https" && u.Scheme != "http":
			r.doc.Report(path.With(one.key), "%s is no address: give one such as https://login.larch.example", one.key)
		case u.Scheme != "https" && !local:
			r.doc.Report(path.With(one.key), "%s begins with http, so that others on the way can log in as anybody: give https", one.key)
		case one.root && strings.Trim(u.Path, "/") != "":
			r.doc.Report(path.With(one.key), "base has a path: give the address alone, such as https://weald.larch.example")
		}
	}
	return &OIDC{Issuer: o.Issuer, ClientID: string(o.ClientID), Claim: string(o.Claim), Base: strings.TrimRight(o.Base, "/"),
		Secret: r.secret(o.SecretFile, o.SecretEnv, "secret", false, path)}
}
