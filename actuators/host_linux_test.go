package actuators

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// A list of first values that is damaged, or that somebody forged, gets nothing written that
// no actuator sets, and nothing outside of the root.
func TestHostLeavesOtherFilesAlone(t *testing.T) {
	root := madeTree(t, nil, "class/firmware-attributes/", "firmware/", "devices/platform/")
	outside := filepath.Join(t.TempDir(), "profile")
	put(t, filepath.Dir(outside), "profile", "as it was")
	put(t, root, "kernel/uevent_helper", "as it was")
	put(t, root, "class/firmware-attributes/firmware/attributes/ppt_x/current_value", "as it was")
	if err := os.MkdirAll(filepath.Join(root, "class/platform-profile/platform-profile-7"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(outside, filepath.Join(root, "class/platform-profile/platform-profile-7/profile")); err != nil {
		t.Fatal(err)
	}
	host := Host{Sys: root}
	for path, want := range map[string]string{
		"kernel/uevent_helper": "is nothing that sweepd sets",
		"class/firmware-attributes/firmware/attributes/boot_logo/current_value":                   "is nothing that sweepd sets",
		"class/firmware-attributes/firmware/attributes/ppt_pl1_spl/max_value":                     "is nothing that sweepd sets",
		"class/firmware-attributes/../../kernel/uevent_helper":                                    "is nothing that sweepd sets",
		"class/firmware-attributes/firmware/attributes/ppt_x/../../../../../kernel/uevent_helper": "is nothing that sweepd sets",
		"class/platform-profile/platform-profile-7/../platform-profile-0/profile":                 "is nothing that sweepd sets",
		"../profile": "is nothing that sweepd sets",
		"class/platform-profile/platform-profile-7/profile": "leads out of",
		"devices/system/cpu/cpu9/online":                    "no such file",
		"":                                                  "is nothing that sweepd sets",
	} {
		w := Write{Path: root + "/" + path, Text: "1", Was: "0"}
		for _, err := range []error{host.Write(t.Context(), w), host.PutBack(t.Context(), w)} {
			if err == nil || !strings.Contains(err.Error(), want) {
				t.Errorf("%s: got %v\nwant %q", path, err, want)
			}
		}
		if text, err := host.Read(t.Context(), w); err == nil {
			t.Errorf("%s was read: %q", path, text)
		}
	}
	for _, path := range []string{outside, filepath.Join(root, "kernel/uevent_helper")} {
		if text := textOr(path); text != "as it was" {
			t.Errorf("%s: %q", path, text)
		}
	}
	// The real one is known by its own root.
	if err := (Host{}).Write(t.Context(), Write{Path: "/sys/kernel/uevent_helper", Text: "1"}); err == nil || !strings.Contains(err.Error(), "below /sys: it is left alone") {
		t.Errorf("got %v", err)
	}
	profile := Write{Path: filepath.Join(root, "firmware/acpi/platform_profile")}
	for _, text := range []string{"", "two\nlines", strings.Repeat("x", 300), "nul\x00"} {
		profile.Text = text
		if err := host.Write(t.Context(), profile); err == nil || !strings.Contains(err.Error(), "is not one line to write") {
			t.Errorf("%q: got %v", text, err)
		}
	}
	given, cancel := context.WithCancel(t.Context())
	cancel()
	profile.Text = "quiet"
	if err := host.Write(given, profile); !errors.Is(err, context.Canceled) || textOr(profile.Path) != "balanced" {
		t.Errorf("after the end: %v, %q", err, textOr(profile.Path))
	}
}

// After a restart a device's sensors may have another number: the place is found by its
// device; where that is not sure nothing is written.
func TestHostFindsWhatWasRenumbered(t *testing.T) {
	root := madeTree(t, nil, "devices/pci0000:00/", "class/drm/")
	host := Host{Sys: root}
	limit, missing := gpu{tree(root)}.limit()
	if missing != "" {
		t.Fatal(missing)
	}
	sensors := filepath.Dir(filepath.Dir(limit.path))
	w := Write{Path: limit.path, Text: "9000000", Was: "15000000"}
	if err := os.Rename(filepath.Join(sensors, "hwmon5"), filepath.Join(sensors, "hwmon11")); err != nil {
		t.Fatal(err)
	}
	now := filepath.Join(sensors, "hwmon11", "power1_cap")
	if err := host.Write(t.Context(), w); err != nil || textOr(now) != "9000000" {
		t.Errorf("got %v, %q", err, textOr(now))
	}
	if text, err := host.Read(t.Context(), w); err != nil || text != "9000000" {
		t.Errorf("got %q, %v", text, err)
	}
	if err := host.PutBack(t.Context(), w); err != nil || textOr(now) != "15000000" {
		t.Errorf("got %v, %q", err, textOr(now))
	}
	put(t, sensors, "hwmon12/power1_cap", "80000000")
	if err := host.Write(t.Context(), w); err == nil || !strings.Contains(err.Error(), "2 others may be it: nothing is done") || textOr(now) != "15000000" {
		t.Errorf("got %v, %q", err, textOr(now))
	}
}

// A driver that hangs is left behind after a while, and whatever it was asked for is not
// overtaken: nothing else is written to the place until it has come back.
func TestHostLeavesAHangingDriverBehind(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		through := make(chan struct{})
		begun := time.Now()
		_, err := bounded(t.Context(), "/sys/place", func() (string, error) { <-through; return "", nil })
		if err == nil || !strings.Contains(err.Error(), "/sys/place: its driver does not answer within 2s") || time.Since(begun) != 2*time.Second {
			t.Errorf("got %v after %v", err, time.Since(begun))
		}
		given, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if _, err := bounded(given, "/sys/place", func() (string, error) { <-through; return "", nil }); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("got %v", err)
		}
		close(through)
	})
	root := madeTree(t, nil, "firmware/")
	w := Write{Path: filepath.Join(root, "firmware/acpi/platform_profile"), Text: "low-power", Was: "balanced"}
	ended, err := beginWrite(w.Path)
	if err != nil {
		t.Fatal(err)
	}
	for _, err := range []error{(Host{Sys: root}).Write(t.Context(), w), (Host{Sys: root}).PutBack(t.Context(), w)} {
		if !errors.Is(err, ErrNoAnswer) {
			t.Errorf("got %v", err)
		}
	}
	ended()
	if err := (Host{Sys: root}).Write(t.Context(), w); err != nil || textOr(w.Path) != "low-power" {
		t.Errorf("got %v, %q", err, textOr(w.Path))
	}
}
