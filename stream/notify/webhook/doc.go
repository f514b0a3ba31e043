// Package webhook sends messages as signed HTTP requests.
//
// A message is a POST of JSON (notify.Body) with these headers:
//
//	Idempotency-Key: KEY       the same for every attempt of a message
//	Weald-Timestamp: SECONDS   since 1970, of this attempt
//	Weald-Signature: v1=HEX    HMAC-SHA256, in lower case, of
//	                           TIMESTAMP "." BODY under the shared secret
//
// A receiver computes the signature over the bytes as they came, compares in
// constant time, refuses a timestamp that is more than five minutes off, and drops
// a key that it has had. Any status from 200 to 299 means that the message is taken
// over for good: answer it only when it is.
//
// 400, 405, 410, 413, 415 and 422 say that this message will never be taken, so it
// is given up. Everything else is tried again, also 401, 403 and 404, which a
// receiver that is being set up answers: an alert is worth some vain attempts. A
// redirect is not followed, and the signature goes nowhere else.
package webhook
