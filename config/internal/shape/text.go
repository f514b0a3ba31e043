package shape

import (
	"fmt"
	"net/netip"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// Patterns of the texts below, for the JSON Schema.
const (
	IDPattern      = `^[a-z0-9][a-z0-9_-]{0,63}$`
	SourcePattern  = `^[a-z0-9][a-z0-9_-]{0,63}/[a-z0-9][a-z0-9_-]{0,63}$`
	ChannelPattern = `^[a-z0-9][a-z0-9_-]{0,63}/[a-z0-9][a-z0-9_-]{0,63}/[0-9]{1,5}$`
	RangePattern   = `^[0-9]{1,5}-[0-9]{1,5}$`
	HexPattern     = `^[0-9a-fA-F]{4}$`
	HostPattern    = `^[A-Za-z0-9]([A-Za-z0-9.-]{0,251}[A-Za-z0-9])?$|^[0-9A-Fa-f:.]{2,45}$`
)

var (
	idWord      = regexp.MustCompile(IDPattern)
	sourceWord  = regexp.MustCompile(SourcePattern)
	channelWord = regexp.MustCompile(ChannelPattern)
	rangeWord   = regexp.MustCompile(RangePattern)
	hexWord     = regexp.MustCompile(HexPattern)
)

// ID is a name that appears in addresses, metrics and alerts.
type ID string

// UnmarshalText takes any text, and refuses what is not a name.
func (id *ID) UnmarshalText(b []byte) error {
	*id = ID(b) // kept even if it is wrong, so that references to it are found
	if !idWord.Match(b) {
		return fmt.Errorf("is %q: give at most 64 of a-z, 0-9, - and _, beginning with a letter or a digit", clip(b))
	}
	return nil
}

// Wanted says what an ID looks like.
func (ID) Wanted() string { return "a name such as bed-4" }

// Text is text that is taken as it is written, even if it looks like a number.
type Text string

// UnmarshalText takes any text.
func (t *Text) UnmarshalText(b []byte) error { *t = Text(b); return nil }

// Wanted says what a Text looks like.
func (Text) Wanted() string { return "text" }

// Hex is a number of four hexadecimal digits, in upper case.
type Hex string

// UnmarshalText takes four hexadecimal digits in any case.
func (h *Hex) UnmarshalText(b []byte) error {
	if !hexWord.Match(b) {
		return fmt.Errorf("is %q: give four hexadecimal digits such as 2E8A", clip(b))
	}
	*h = Hex(strings.ToUpper(string(b)))
	return nil
}

// Wanted says what a Hex looks like.
func (Hex) Wanted() string { return "four hexadecimal digits such as 2E8A" }

// MQTTVersion is 5 or 3.1.1.
type MQTTVersion string

// UnmarshalText takes 5, 5.0 and 3.1.1.
func (v *MQTTVersion) UnmarshalText(b []byte) error {
	switch string(b) {
	case "5", "5.0":
		*v = "5"
	case "3.1.1":
		*v = "3.1.1"
	default:
		return fmt.Errorf("is %q: give %s", clip(b), v.Wanted())
	}
	return nil
}

// Wanted says what an MQTTVersion looks like.
func (MQTTVersion) Wanted() string { return "5 or 3.1.1" }

// SourceRef names a source as bridge/source.
type SourceRef struct{ Bridge, Source string }

// UnmarshalText reads bridge/source.
func (r *SourceRef) UnmarshalText(b []byte) error {
	if !sourceWord.Match(b) {
		return fmt.Errorf("is %q: give bridge/source, such as hub/mat4", clip(b))
	}
	r.Bridge, r.Source, _ = strings.Cut(string(b), "/")
	return nil
}

// Wanted says what a SourceRef looks like.
func (SourceRef) Wanted() string { return "bridge/source, such as hub/mat4" }

// String returns bridge/source.
func (r SourceRef) String() string { return r.Bridge + "/" + r.Source }

// ChannelRef names a channel as bridge/source/channel.
type ChannelRef struct {
	SourceRef
	Channel int
}

// UnmarshalText reads bridge/source/channel.
func (r *ChannelRef) UnmarshalText(b []byte) error {
	if !channelWord.Match(b) {
		return fmt.Errorf("is %q: give bridge/source/channel, such as trolley/leg/0", clip(b))
	}
	part := strings.Split(string(b), "/")
	r.Bridge, r.Source = part[0], part[1]
	var err error
	r.Channel, err = strconv.Atoi(part[2])
	return err
}

// Wanted says what a ChannelRef looks like.
func (ChannelRef) Wanted() string { return "bridge/source/channel, such as trolley/leg/0" }

// Range is one number, or first-last with both included.
type Range struct{ First, Last int }

// UnmarshalText reads 4 or 1-12.
func (r *Range) UnmarshalText(b []byte) error {
	first, last, isRange := strings.Cut(string(b), "-")
	if !isRange {
		last = first
	}
	if !rangeWord.MatchString(first + "-" + last) {
		return fmt.Errorf("is %q: give a number from 0, or a range such as 1-12", clip(b))
	}
	f, _ := strconv.Atoi(first) // at most five digits, see the pattern
	l, _ := strconv.Atoi(last)
	if l > 65535 || f > l {
		return fmt.Errorf("is %q: give first-last, at most 65535, with the smaller number first", clip(b))
	}
	r.First, r.Last = f, l
	return nil
}

// Wanted says what a Range looks like.
func (Range) Wanted() string { return "a number from 0, or a range such as 1-12" }

// Host is a host name or an address, as it is in an address bar, in lower case and
// without a port.
type Host string

var hostLabel = regexp.MustCompile(`^[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?$`)

// UnmarshalText takes a name of RFC 1123, section 2.1, and addresses.
func (h *Host) UnmarshalText(b []byte) error {
	text := strings.ToLower(string(b))
	if addr, err := netip.ParseAddr(text); err == nil && addr.Zone() == "" && !addr.IsUnspecified() {
		*h = Host(addr.String())
		return nil
	}
	labels := strings.Split(text, ".")
	if _, err := strconv.Atoi(labels[len(labels)-1]); err == nil || len(text) > 253 ||
		slices.ContainsFunc(labels, func(l string) bool { return !hostLabel.MatchString(l) }) {
		return fmt.Errorf("is %q: give %s", clip(b), h.Wanted())
	}
	*h = Host(text)
	return nil
}

// Wanted says what a Host looks like.
func (Host) Wanted() string {
	return "a host name or an address, such as weald.larch.example or 10.0.0.5"
}

func clip(b []byte) string {
	if r := []rune(string(b)); len(r) > 60 {
		return string(r[:60]) + "…"
	}
	return string(b)
}

// Role is something that a machine does for a record.
type Role string

// Roles are all of them.
var Roles = []string{"ingest", "judge", "serve"}

// UnmarshalText takes a role.
func (r *Role) UnmarshalText(b []byte) error {
	if *r = Role(b); !slices.Contains(Roles, string(b)) {
		return fmt.Errorf("is %q: give %s", clip(b), r.Wanted())
	}
	return nil
}

// Wanted says what a Role looks like.
func (Role) Wanted() string { return "ingest, judge or serve" }
