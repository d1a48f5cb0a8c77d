package collectors

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// The id is what systemd makes of it for an application: sd_id128_get_machine_app_specific(3).
func TestSystemIDIsAsSystemdHidesIt(t *testing.T) {
	raw, err := os.ReadFile("/etc/machine-id")
	if err != nil {
		t.Skip("this system has no id")
	}
	out, err := exec.Command("systemd-id128", "machine-id", "--app-specific="+strings.ReplaceAll(applicationID.String(), "-", "")).Output()
	if err != nil {
		t.Skip("no systemd-id128: ", err)
	}
	got := ReadFacts(Roots{})["system_id"]
	if got != strings.TrimSpace(string(out)) || got == strings.TrimSpace(string(raw)) || got == "" {
		t.Errorf("%q, systemd says %q", got, out)
	}
}

func TestIDsOfMachines(t *testing.T) {
	const raw = "0f1e2d3c4b5a69788796a5b4c3d2e1f0"
	write := func(path, text string) {
		t.Helper()
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	sys, etc := t.TempDir(), t.TempDir()
	write(filepath.Join(sys, "class", "dmi", "id", "product_uuid"), "0F1E2D3C-4B5A-6978-8796-A5B4C3D2E1F0\n")
	write(filepath.Join(etc, "machine-id"), raw+"\n")
	m, id := ReadMachine(Roots{Sys: sys, Etc: etc})
	if m.SystemID == "" || m.SystemID != m.HardwareID || id != m.SystemID || strings.Contains(m.SystemID, raw[:8]) {
		t.Errorf("%+v, %q: one id in two spellings, hidden", m, id)
	}
	if m, _ := ReadMachine(Roots{Sys: sys}); m.SystemID != "" {
		t.Error("another system's id was taken for that of the machine whose /sys is read")
	}
	for _, nothing := range []string{"", "uninitialized", "00000000-0000-0000-0000-000000000000", "FFFFFFFF-FFFF-FFFF-FFFF-FFFFFFFFFFFF", "Not Settable"} {
		write(filepath.Join(sys, "class", "dmi", "id", "product_uuid"), nothing+"\n")
		write(filepath.Join(etc, "machine-id"), nothing+"\n")
		if m, id := ReadMachine(Roots{Sys: sys, Etc: etc}); m.HardwareID+m.SystemID+id != "" {
			t.Errorf("%q gives %+v, %q", nothing, m, id)
		}
	}
}

func TestDefaultHostNames(t *testing.T) {
	etc := t.TempDir()
	release := "NAME=\"Orchard Linux\"\nID=orchard\nVARIANT_ID=handheld\nDEFAULT_HOSTNAME=\"appletree\"\n"
	if err := os.WriteFile(filepath.Join(etc, "os-release"), []byte(release), 0o644); err != nil {
		t.Fatal(err)
	}
	for name, bare := range map[string]bool{
		"localhost": true, "localhost.localdomain": true, "LOCALHOST": true, "": true, "orchard": true, "appletree": true, "Handheld.lan": true,
		"unit-oak": false, "orchard-7": false, "bench3": false,
	} {
		if got := (Roots{Etc: etc}).DefaultHostName(name); got != bare {
			t.Errorf("%q: %v", name, got)
		}
	}
}
