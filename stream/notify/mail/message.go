package mail

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"mime"
	"mime/quotedprintable"
	"strings"
	"time"

	"weald/stream/notify"
)

// compose returns the mail as it is sent: headers and quoted-printable text, with
// CRLF. from and to are bare addresses.
func compose(s *notify.Sending, from string, to []string) []byte {
	var b bytes.Buffer
	header := func(name, value string) { fmt.Fprintf(&b, "%s: %s\r\n", name, value) }
	header("Date", s.At.Time().In(s.Zone).Format(time.RFC1123Z))
	header("From", from)
	header("To", strings.Join(to, ", "))
	header("Subject", mime.QEncoding.Encode("utf-8", s.Subject()))
	header("Message-ID", id(s.Key, from))
	if s.Event != nil {
		thread := id("thread."+s.Event.ID(), from)
		header("In-Reply-To", thread)
		header("References", thread)
		if s.About == notify.Call && s.Event.Priority.String() == "high" {
			header("Importance", "high")
		}
	}
	header("Auto-Submitted", "auto-generated")
	header("Weald-Key", mime.QEncoding.Encode("utf-8", s.Key))
	header("MIME-Version", "1.0")
	header("Content-Type", "text/plain; charset=utf-8")
	header("Content-Transfer-Encoding", "quoted-printable")
	b.WriteString("\r\n")
	text := quotedprintable.NewWriter(&b)
	fmt.Fprintf(text, "%s\r\n\r\n%s\r\n", s.Text(), notify.Caution) // a buffer takes everything
	text.Close()
	return b.Bytes()
}

// id makes a Message-ID, which allows few characters, of a key.
func id(key, from string) string {
	sum := sha256.Sum256([]byte(key))
	_, host, _ := strings.Cut(from, "@")
	return "<" + hex.EncodeToString(sum[:16]) + ".weald@" + host + ">"
}
