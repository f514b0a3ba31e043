package record

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"fmt"

	"weald/ingest/sample"
)

// An Audit is one link of the chain that shows whether somebody has changed what
// the record says of who did what. It has the hash of the link before it, and of
// itself; and, of the entries that it covers, a digest of their bytes as they lie in
// the record. Whoever edits, removes, inserts, moves or swaps one of them or a link
// breaks the chain, unless everything behind it is made anew.
//
// What may be of a person is sealed: its digest alone goes into the hash, so that it
// can be taken away later and the chain holds.
type Audit struct {
	Number uint64 // in the chain, from 1 and without holes; given by the journal
	Prev   Digest // Hash of the link before it; zero for the first; given by the journal
	Hash   Digest // of this link; given by the journal

	What    string // what was done: "acknowledge", "viewed", "exported", …
	Subject string // with what: the id of an alert, a session, an export, …; of no person
	Who     Sealed // a code, or "console", or an address; empty for the program itself
	Person  Sealed // whose data it is about, by code; empty where that is not known
	Text    Sealed // what else there is to say

	// Covers are entries whose bytes the link vouches for: those that come just before
	// it in the same call, and in an erasure those that it has changed, which are
	// no longer what an earlier link covered.
	Covers []Cover

	// Kinds have been deleted on purpose up to the position Through, as keep: asks;
	// none for most links.
	Kinds   []Kind
	Through Position
}

// Kind implements Body.
func (Audit) Kind() Kind { return KindAudit }
func (Audit) sealed()    {}

// A Digest is a SHA-256.
type Digest [sha256.Size]byte

// String returns d in hexadecimal.
func (d Digest) String() string { return hex.EncodeToString(d[:]) }

// MarshalText implements encoding.TextMarshaler.
func (d Digest) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText implements encoding.TextUnmarshaler.
func (d *Digest) UnmarshalText(b []byte) error {
	plain, err := hex.AppendDecode(nil, b) // of any length
	if err != nil || len(plain) != len(d) {
		return fmt.Errorf("%.80q is no SHA-256 in hexadecimal", b)
	}
	copy(d[:], plain)
	return nil
}

// SaltSize is the size of every salt, in bytes: nobody can try all of them out.
const SaltSize = 16

// salted returns the digest of content under a salt.
func salted(salt, content []byte) (d Digest) {
	h := sha256.New()
	h.Write(salt)
	h.Write(content)
	h.Sum(d[:0])
	return d
}

// A Sealed is a text with a salt, or, once it has been taken away, the digest that
// they had. What is left then says nothing: without the salt no guess of the text
// can be tried. The zero value is no text.
type Sealed struct {
	Text   string `json:"text,omitempty"`
	Salt   []byte `json:"salt,omitempty"`  // nil when it has been taken away
	Gone   bool   `json:"gone,omitempty"`  // it has been taken away
	Digest Digest `json:"digest,omitzero"` // of what was taken away; else zero
}

// sealText seals a text under a salt of SaltSize random bytes; "" needs none.
func sealText(salt []byte, text string) Sealed {
	if text == "" {
		return Sealed{}
	}
	return Sealed{Text: text, Salt: salt}
}

// Take takes the text away. Nobody can tell afterwards what it was.
func (s *Sealed) Take() {
	if s.Text != "" {
		*s = Sealed{Gone: true, Digest: s.digest()}
	}
}

// digest is that of the text, even if it has been taken away.
func (s *Sealed) digest() Digest {
	if s.Gone {
		return s.Digest
	}
	return salted(s.Salt, []byte(s.Text))
}

// A Cover vouches for the bytes of one entry.
type Cover struct {
	Position Position `json:"position"`
	Kind     Kind     `json:"kind"`
	Salt     []byte   `json:"salt,omitempty"` // nil once the entry was changed by an erasure
	Digest   Digest   `json:"digest"`
}

// A Sum is the SHA-256 of an entry's bytes as they lie in the record.
type Sum = Digest

// SumOf returns the sum of an encoded entry.
func SumOf(body []byte) Sum { return sha256.Sum256(body) }

// Seals returns a cover of an entry by its sum.
func (c Cover) Seals(s Sum) Cover {
	c.Digest = salted(c.Salt, s[:])
	return c
}

// Holds reports whether an entry of that sum is the one that is covered. Without
// its salt nothing can be told, and it is not.
func (c *Cover) Holds(s Sum) bool { return len(c.Salt) > 0 && salted(c.Salt, s[:]) == c.Digest }

// A Link names one link of a chain: the last one stands for all before it. The zero
// value is the beginning.
type Link struct {
	Number uint64
	Hash   Digest
}

// String writes a link as ParseLink reads it, such as 17:9f86…
func (l Link) String() string { return fmt.Sprintf("%d:%s", l.Number, l.Hash) }

// ParseLink reads what String wrote.
func ParseLink(text string) (l Link, err error) {
	var hash string
	if n, err := fmt.Sscanf(text, "%d:%s", &l.Number, &hash); n != 2 || err != nil || l.String()[:len(fmt.Sprint(l.Number))+1]+hash != text {
		return Link{}, fmt.Errorf("%q is no link such as 17:9f86…, a number, a colon and 64 hexadecimal digits", text)
	}
	return l, l.Hash.UnmarshalText([]byte(hash))
}

// Chain makes e, which is an Audit with its position, the link after last, and
// returns it as the new last one. Covers that have no position yet are of the
// entries just before it, the last of which has the last of the given sums.
func (e *Entry) Chain(last Link, sums []Sum) (Link, error) {
	a, ok := e.Body.(Audit)
	if !ok {
		return last, fmt.Errorf("%s %w: it is no link", e.Body.Kind(), ErrInvalid)
	}
	a.Number, a.Prev = last.Number+1, last.Hash
	covers := make([]Cover, len(a.Covers))
	for i, c := range a.Covers {
		if back := len(covers) - i; c.Position == 0 {
			if back > len(sums) {
				return last, fmt.Errorf("audit %w: it covers %d entries, and follows %d", ErrInvalid, len(covers), len(sums))
			}
			c.Position = e.Position - Position(back)
			c = c.Seals(sums[len(sums)-back])
		}
		covers[i] = c
	}
	if len(covers) > 0 {
		a.Covers = covers
	}
	a.Hash = a.hash(e)
	e.Body = a
	return Link{a.Number, a.Hash}, nil
}

// Link returns what names the link, and whether its hash is that of what it says.
func (a *Audit) Link(e *Entry) (l Link, sound bool) {
	return Link{a.Number, a.Hash}, a.Hash == a.hash(e)
}

// hash is that of everything that the link says, with digests for what is sealed.
//
// It is the SHA-256 of: "weald audit 1\n"; number (uvarint); hash before; position
// (uvarint); at, written (varint); place, what, subject (text); digests of who,
// person, text; the number of covers (uvarint), and of each position (uvarint), kind
// (text), digest; the number of kinds (uvarint), each (text); through (uvarint).
func (a *Audit) hash(e *Entry) Digest {
	b := binary.AppendUvarint([]byte("weald audit 1\n"), a.Number)
	b = append(b, a.Prev[:]...)
	b = binary.AppendUvarint(b, uint64(e.Position))
	b = binary.AppendVarint(b, int64(e.At))
	b = binary.AppendVarint(b, int64(e.Written))
	for _, text := range []string{e.Place, a.What, a.Subject} {
		b = appendText(b, text)
	}
	for _, s := range []*Sealed{&a.Who, &a.Person, &a.Text} {
		d := s.digest()
		b = append(b, d[:]...)
	}
	b = binary.AppendUvarint(b, uint64(len(a.Covers)))
	for i := range a.Covers {
		c := &a.Covers[i]
		b = binary.AppendUvarint(b, uint64(c.Position))
		b = append(appendText(b, string(c.Kind)), c.Digest[:]...)
	}
	b = binary.AppendUvarint(b, uint64(len(a.Kinds)))
	for _, k := range a.Kinds {
		b = appendText(b, string(k))
	}
	return sha256.Sum256(binary.AppendUvarint(b, uint64(a.Through)))
}

// check says what is wrong with a link that is to be kept: what it would say of a
// person in the open, and what an input would be judged by.
func (a *Audit) check(e *Entry) error {
	switch {
	case e.Ord != 0 || e.Author != "":
		return fmt.Errorf("it has an ordinal or an author in the open")
	case a.What == "":
		return fmt.Errorf("it does not say what was done")
	}
	for _, s := range []*Sealed{&a.Who, &a.Person, &a.Text} {
		if s.Text != "" && len(s.Salt) != SaltSize {
			return fmt.Errorf("a salt of %d bytes, and not %d", len(s.Salt), SaltSize)
		}
	}
	return nil
}

func (a *Audit) texts() []string {
	all := []string{a.What, a.Subject, a.Who.Text, a.Person.Text, a.Text.Text}
	for i := range a.Covers {
		all = append(all, string(a.Covers[i].Kind))
	}
	for _, k := range a.Kinds {
		all = append(all, string(k))
	}
	return all
}

type auditJSON struct {
	Number  uint64   `json:"number"`
	Prev    Digest   `json:"prev"`
	Hash    Digest   `json:"hash"`
	What    string   `json:"what"`
	Subject string   `json:"subject,omitempty"`
	Who     Sealed   `json:"who,omitzero"`
	Person  Sealed   `json:"person,omitzero"`
	Text    Sealed   `json:"text,omitzero"`
	Covers  []Cover  `json:"covers,omitempty"`
	Kinds   []Kind   `json:"kinds,omitempty"`
	Through Position `json:"through,omitempty"`
}

func unmarshalAudit(raw []byte) (Audit, error) {
	var j auditJSON
	err := json.Unmarshal(raw, &j)
	return Audit(j), err
}

// Deed is what is told of an act that is in no other entry.
type Deed struct {
	At, Written sample.Instant
	What        string // see Audit, as are all of these
	Place       string
	Subject     string
	Who         string
	Person      string
	Text        string
}

// Entry returns the link that tells a deed, under salts that salt makes.
func (d *Deed) Entry(salt func() []byte) Entry {
	return Entry{At: d.At, Written: d.Written, Place: d.Place, Body: Audit{
		What: d.What, Subject: d.Subject, Who: sealText(salt(), d.Who), Person: sealText(salt(), d.Person), Text: sealText(salt(), d.Text),
	}}
}
