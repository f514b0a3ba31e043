// Package password keeps passwords as argon2id, by RFC 9106, in the text form of the
// reference implementation: $argon2id$v=19$m=…,t=…,p=…$salt$hash. The parameters stand
// in the text, so that those of old ones can be told and made anew.
package password
