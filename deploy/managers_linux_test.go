package deploy

import (
	"os"
	"strings"
	"testing"
)

// TestPackagesInTheirManagersHands has each kind of package refused, installed and
// removed by its own package manager in a root folder.
func TestPackagesInTheirManagersHands(t *testing.T) {
	need(t, "debootstrap", "dpkg", "rpm", "rpmbuild", "pacman", "unshare")
	if os.Geteuid() != 0 {
		t.Skip("needs root to enter a root folder")
	}
	folder := built(t)
	for _, kind := range kinds {
		if kind.manager == "" {
			continue
		}
		t.Run(kind.manager, func(t *testing.T) {
			out := command(t, nil, "unshare", "--mount", "deploy/testdata/manager.sh", kind.manager, debian(t), kind.file(folder), testVersion)
			if !strings.HasSuffix(out, "\nPASSED\n") {
				t.Error(out)
			}
			t.Log(out)
		})
	}
}
