package access

import (
	"context"
	"net/netip"
)

// A Means is how somebody has shown who it is.
type Means string

// The means.
const (
	Open    Means = "open" // there are no accounts: everybody may do everything
	None    Means = "none"
	Session Means = "session"
	Token   Means = "token"
	Screen  Means = "screen"
	Console Means = "console" // a command on the machine itself
)

// A Who is somebody who asks for something. Its zero value is nobody.
type Who struct {
	Name  string // of the account, the token or the screen; "" where there are no accounts
	Role  Role
	Means Means

	key hash // of what was shown; what ends, ends by it
}

// Anyone is who asks where there are no accounts.
var Anyone = Who{Role: Admin, Means: Open}

// Author is how the record names who does something, where the daemon knows it;
// typed is what was said instead, which counts where there are no accounts and for
// commands on the machine, whose user it cannot tell.
func (w Who) Author(typed string) string {
	switch w.Means {
	case Session, Screen:
		return w.Name
	case Token:
		return w.Name + " (token)"
	}
	return typed
}

// Known reports whether the daemon knows by itself who does something.
func (w Who) Known() bool { return w.Means == Session || w.Means == Token || w.Means == Screen }

// A Visit is a request, as far as it matters to who may do what.
type Visit struct {
	Who    Who
	From   netip.Addr // zero where it has none
	Secure bool       // over TLS
	Device string     // what a browser from which somebody has logged in before brings
	Flow   string     // what one brings from which somebody has been sent to a directory

	// About is what the audit is told of it beyond its address, "account=anna".
	// Handlers set it, before they answer, to nothing that is secret.
	About string
}

type visitKey struct{}

// With returns a context of a request.
func With(ctx context.Context, v *Visit) context.Context {
	return context.WithValue(ctx, visitKey{}, v)
}

// Of returns what is known of a request; nobody's, where nothing has been said.
func Of(ctx context.Context) *Visit {
	if v, ok := ctx.Value(visitKey{}).(*Visit); ok {
		return v
	}
	return &Visit{}
}

// From returns who asks.
func From(ctx context.Context) Who { return Of(ctx).Who }
