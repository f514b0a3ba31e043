package bluez

import (
	"fmt"
	"strings"
)

// A UUID names a service or a characteristic. It is always written out, in
// lower case, as BlueZ writes it: "0000180f-0000-1000-8000-00805f9b34fb".
type UUID string

// base is what the numbers assigned by the Bluetooth SIG stand in front of.
const base = "-0000-1000-8000-00805f9b34fb"

// Assigned returns the UUID of a number that the Bluetooth SIG assigned.
func Assigned(n uint16) UUID { return UUID(fmt.Sprintf("0000%04x", n) + base) }

// ParseUUID reads a UUID of 128 bits with its four dashes, or an assigned
// number of four or eight hexadecimal digits with or without 0x, in any case.
func ParseUUID(s string) (UUID, error) {
	u := strings.ToLower(s)
	short := strings.TrimPrefix(u, "0x")
	switch {
	case len(short) == 4 && hex(short):
		return UUID("0000" + short + base), nil
	case len(short) == 8 && hex(short):
		return UUID(short + base), nil
	case len(u) == 36:
		parts := strings.Split(u, "-")
		if len(parts) == 5 && len(parts[0]) == 8 && len(parts[1]) == 4 && len(parts[2]) == 4 && len(parts[3]) == 4 && hex(strings.Join(parts, "")) {
			return UUID(u), nil
		}
	}
	return "", fmt.Errorf("%q is no UUID: write 32 hexadecimal digits with dashes, or an assigned number such as 0x180F", s)
}

// String returns the UUID as people know it: assigned numbers short.
func (u UUID) String() string {
	if n, ok := strings.CutSuffix(string(u), base); ok {
		return "0x" + strings.ToUpper(strings.TrimPrefix(n, "0000"))
	}
	return string(u)
}

func hex(s string) bool {
	return strings.Trim(s, "0123456789abcdef") == ""
}
