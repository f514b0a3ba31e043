// Package gate lets through whom a route is for: see Mux. It finds out who asks by a
// session's cookie, a token or a screen's cookie, refuses who may not, and tells the
// audit of each request how it went.
//
// Where there are no accounts everybody may do everything: only this machine can ask.
package gate
