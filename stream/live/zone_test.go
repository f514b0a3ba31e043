package live

import "testing"

func TestHostZone(t *testing.T) {
	for set, want := range map[string]string{
		"Europe/Lisbon": "Europe/Lisbon", ":Asia/Tokyo": "Asia/Tokyo", "": "UTC",
		"Local": "", "Nowhere/Atall": "", "/etc/localtime": "", "CET-1CEST": "",
	} {
		t.Setenv("TZ", set)
		if got := HostZone(); got != want {
			t.Errorf("with TZ=%q: %q, want %q", set, got, want)
		}
	}
}
