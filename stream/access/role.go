package access

import "fmt"

// A Role says what one may do. Each may do what those before it may.
type Role int

// The roles. Nobody is who has not said who it is; Wall is a screen that everybody
// looks at, which shows what is now and nothing of who was where and when.
const (
	Nobody   Role = iota
	Wall          // places, maps and alerts, as they are
	Viewer        // and the record, and what is printed of it
	Carer         // and to acknowledge, shelve, mark; sessions and tries at a wrap
	Engineer      // and to calibrate, configure, rehearse, export, and give links to seats
	Admin         // and accounts, tokens, and links of wall screens
)

var roleNames = [...]string{"nobody", "wall", "viewer", "carer", "engineer", "admin"}

// Roles are those that an account or a token can have.
func Roles() []Role { return []Role{Viewer, Carer, Engineer, Admin} }

// String returns the role's name, as it is written everywhere.
func (r Role) String() string {
	if r < 0 || int(r) >= len(roleNames) {
		return fmt.Sprintf("role %d", int(r))
	}
	return roleNames[r]
}

// May reports whether the role suffices where least is needed.
func (r Role) May(least Role) bool { return r >= least }

// ParseRole returns a role that an account or a token can have.
func ParseRole(name string) (Role, error) {
	for _, r := range Roles() {
		if r.String() == name {
			return r, nil
		}
	}
	return Nobody, fmt.Errorf("%q is no role: give viewer, carer, engineer or admin", name)
}

// MarshalText implements encoding.TextMarshaler.
func (r Role) MarshalText() ([]byte, error) { return []byte(r.String()), nil }

// UnmarshalText implements encoding.TextUnmarshaler. What is no role of an account is
// an error, so that a damaged document opens nothing.
func (r *Role) UnmarshalText(b []byte) (err error) {
	*r, err = ParseRole(string(b))
	return err
}
