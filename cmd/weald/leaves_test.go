package main

import (
	"bufio"
	"encoding/hex"
	"fmt"
	"net/netip"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"weald/config"
	"weald/webui/api"
)

// Every way out that a configuration can ask for is in the list, without a secret; and
// where it asks for none there is none.
func TestEveryWayOutIsListed(t *testing.T) {
	name := write(t, "ward.yaml", `
data: record
bridges:
  - {id: hub, link: {mqtt: {broker: "10.0.0.5:1883"}}, format: packed, sources: [{number: 1, id: leg, channels: 2, rate: 50, unit: mmHg}]}
  - {id: trolley, link: {tcp: {dial: "10.0.0.6:7000"}}, format: packed, sources: [{number: 1, id: leg, channels: 2, rate: 50, unit: mmHg}]}
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [hub/leg/0, trolley/leg/0]}]}
rules: []
notify:
  - {id: desk, webhook: {url: "https://desk.example/hook?key=sesame", secret_file: a.secret}}
  - {id: lamp, topic: {broker: "10.0.0.7:1883"}}
  - {id: night, mail: {server: "10.0.0.8:25", from: a@b.example, to: [c@d.example], security: none}}
heartbeat: {webhook: {url: "https://alive.example/hook?key=sesame", secret_file: a.secret}, topic: {broker: "10.0.0.9:1883"}}
`)
	secrets(t, name, "a")
	c := configOf(t, name)
	all := fmt.Sprintf("%+v", leaves(c))
	for _, want := range []string{"10.0.0.5:1883", "10.0.0.6:7000", "desk.example", "10.0.0.7:1883", "10.0.0.8:25", "c@d.example", "alive.example", "10.0.0.9:1883"} {
		if !strings.Contains(all, want) {
			t.Errorf("%s is not in %s", want, all)
		}
	}
	if strings.Contains(all, "sesame") || len(leaves(c)) != 7 {
		t.Errorf("%s", all)
	}
	if none := leaves(&config.Config{}); none == nil || len(none) != 0 {
		t.Errorf("by default: %v", none)
	}
}

// A daemon whose configuration asks for nothing connects to nobody: of the sockets of
// this process none has another end beyond this machine, at any look for a while.
func TestNothingLeavesByDefault(t *testing.T) {
	address := start(t, "demo", "--data", t.TempDir(), "--listen", "127.0.0.1:0")
	looks := 0
	eventually(t, longEnough, func() error {
		for _, end := range connected(t) {
			if !end.Addr().Unmap().IsLoopback() && !end.Addr().IsUnspecified() {
				t.Fatalf("connected to %v", end)
			}
		}
		if looks++; looks < 20 {
			return fmt.Errorf("%d looks", looks)
		}
		all, err := get[struct{ Leaves []api.Leaving }](address, "/api/v1/leaves")
		if err != nil || len(all.Leaves) > 0 {
			return fmt.Errorf("%v %v", all, err)
		}
		return nil
	})
}

// connected returns the other ends of all sockets of this process, as Linux tells them.
func connected(t *testing.T) (ends []netip.AddrPort) {
	t.Helper()
	var ours []string
	all, err := filepath.Glob("/proc/self/fd/*")
	if err != nil || len(all) == 0 {
		t.Skip("the system does not tell the sockets of a process")
	}
	for _, fd := range all {
		if to, err := os.Readlink(fd); err == nil && strings.HasPrefix(to, "socket:[") {
			ours = append(ours, strings.Trim(to[len("socket:"):], "[]"))
		}
	}
	for _, table := range []string{"tcp", "tcp6", "udp", "udp6"} {
		f, err := os.Open("/proc/self/net/" + table)
		if err != nil {
			continue
		}
		lines := bufio.NewScanner(f)
		for lines.Scan() { // sl, local, remote, state, queues, timer, retransmits, uid, timeout, inode
			if w := strings.Fields(lines.Text()); len(w) > 9 && slices.Contains(ours, w[9]) {
				if end, ok := endOf(w[2]); ok {
					ends = append(ends, end)
				}
			}
		}
		f.Close()
	}
	return ends
}

// endOf reads an address of /proc/net/tcp: words of four bytes, each in the host's
// order, which is little endian wherever this is tested.
func endOf(text string) (netip.AddrPort, bool) {
	host, port, _ := strings.Cut(text, ":")
	b, err := hex.DecodeString(host)
	if err != nil || len(b)%4 != 0 {
		return netip.AddrPort{}, false
	}
	for i := 0; i < len(b); i += 4 {
		slices.Reverse(b[i : i+4])
	}
	addr, ok := netip.AddrFromSlice(b)
	var n uint16
	_, err = fmt.Sscanf(port, "%X", &n)
	return netip.AddrPortFrom(addr, n), ok && err == nil
}
