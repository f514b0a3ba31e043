package config

import (
	"fmt"
	"strings"
	"testing"
)

// Of all roles a machine may be given: whoever judges shows the pages, serve alone shows what
// others judge, at a centre if it is given a domain, and only such a machine has one; what is
// taken in is what the machine does then.
func TestRolesGoTogether(t *testing.T) {
	for set := range 8 {
		for _, domain := range []string{"", "domain: larch, "} {
			var roles []string
			for i, role := range []string{"ingest", "judge", "serve"} {
				if set&(1<<i) != 0 {
					roles = append(roles, role)
				}
			}
			text := fmt.Sprintf(`
data: record
bridges:
  - {id: hub, link: {tcp: {dial: "127.0.0.1:4001"}}, format: packed, sources: [{number: 0, id: a, channels: 1, rate: 1, unit: mmHg}]}
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [hub/a/0]}]}
cluster: {servers: ["nats://127.0.0.1:4222"], %s`, domain)
			if len(roles) > 0 {
				text += "roles: [" + strings.Join(roles, ", ") + "]"
			}
			reads, judges, serves := set&1 != 0 || set == 0, set&2 != 0 || set == 0, set&4 != 0 || set == 0
			shows := serves && !judges && !reads
			c, problems := Parse("x.yaml", []byte(text+"}\n"))
			switch fits := (judges == serves || shows) && (domain == "" || shows); {
			case fits != (problems == nil):
				t.Errorf("%s%v: %v", domain, roles, problems)
			case fits && (c.Cluster.Reads != reads || c.Cluster.Judges != judges || c.Cluster.Shows != shows || (c.Cluster.Domain == "larch") != (domain != "")):
				t.Errorf("%s%v gives %+v", domain, roles, c.Cluster)
			}
		}
	}
	// Whoever only shows keeps a copy, and so needs a folder.
	if _, problems := Parse("x.yaml", []byte(`
bridges:
  - {id: hub, link: {tcp: {dial: "127.0.0.1:4001"}}, format: packed, sources: [{number: 0, id: a, channels: 1, rate: 1, unit: mmHg}]}
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [hub/a/0]}]}
cluster: {servers: ["nats://127.0.0.1:4222"], roles: [serve]}
`)); len(problems) != 1 || !strings.Contains(problems.Error(), "give data") {
		t.Errorf("without a folder: %v", problems)
	}
}
