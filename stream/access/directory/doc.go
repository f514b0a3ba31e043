// Package directory lets people log in at a directory of their house, by OpenID
// Connect: the authorization code flow with PKCE (OpenID Connect Core 1.0, section 3.1;
// RFC 7636). All that it tells is who somebody is, by a claim; what that person may do
// is a matter of the account here that the claim is entered at.
//
// A directory that is away keeps nobody from logging in with a password: it is asked
// when somebody wants to be led there, and at no other time.
package directory
