package main

import (
	"os"
	"strings"
	"testing"
)

// Whoever calls removing uninstalling is not told to install.
func TestServiceByItsOtherNames(t *testing.T) {
	alone(t)
	home := t.TempDir()
	for name, value := range map[string]string{"HOME": home, "XDG_CONFIG_HOME": "", "XDG_STATE_HOME": "", "SUDO_USER": ""} {
		t.Setenv(name, value)
	}
	want := "nothing to remove: sweepd is not installed below your home folder"
	if os.Geteuid() == 0 {
		want = "this would be root's own"
	}
	for _, word := range []string{"remove", "uninstall"} {
		if o := sweepd(t, "service", word); o.code != exitFailed || !strings.Contains(o.stderr, want) {
			t.Errorf("service %s: exit %d, %s", word, o.code, o.stderr)
		}
	}
}
