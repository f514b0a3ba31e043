// Package mail sends messages as e-mail.
//
// Each is a mail of plain text with a Message-ID made of the message's key, so that
// attempts of one message are one mail to whoever looks at that. Mails about one
// alert are one thread. They say that a program wrote them (RFC 3834), so that
// nobody's absence note answers.
//
// With starttls or implicit TLS nothing but a greeting passes before TLS stands and
// the certificate is verified, and an account is used over TLS alone. A mail is
// delivered when the server has answered the end of its data with 250; a connection
// that is lost before that leaves it open, and the mail is sent again.
//
// An answer of 5xx to a recipient or to the data says that this mail will never be
// taken, unless it is about the account (530, 534, 535, 538), which somebody can
// mend. A recipient who is refused does not keep a mail from the others: they get it,
// once, and what is said of that one is tried again or given up.
package mail
