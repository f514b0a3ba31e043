package live

import (
	"os"
	"strings"
	"time"
)

// HostZone returns the IANA name of the host's time zone, for Options.Zone, or
// "" where the host does not tell: then viewers read times in their own.
func HostZone() string {
	if name, set := os.LookupEnv("TZ"); set {
		return zoneNamed(strings.TrimPrefix(name, ":"))
	}
	target, err := os.Readlink("/etc/localtime")
	if err != nil {
		return ""
	}
	_, name, found := strings.Cut(target, "/zoneinfo/")
	if !found {
		return ""
	}
	return zoneNamed(name)
}

// zoneNamed returns name if it is that of a zone a viewer can know: neither a
// file of this host nor a rule written out.
func zoneNamed(name string) string {
	if name == "" {
		return "UTC" // what an empty TZ stands for
	}
	if _, err := time.LoadLocation(name); err != nil || name == "Local" {
		return ""
	}
	return name
}
