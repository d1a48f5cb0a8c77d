//go:build unix

package main

import (
	"context"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

func TestSettingCommand(t *testing.T) {
	for _, c := range []struct{ script, want, failure string }{
		{"echo 21W", "21W", ""},
		{"printf ' quiet\\n'", "quiet", ""},
		{"true", "", ""},
		{"echo 21W; head -c 100000 /dev/zero >&2; kill $$", "", "signal: terminated"},
		{"echo no limit today >&2; echo second line >&2; exit 3", "", `exit status 3: "no limit today"`},
		{"yes", "", "it printed more than 4096 bytes"},
		{"head -c 4096 /dev/zero | tr '\\0' ' '", "", ""},
		{"head -c 4097 /dev/zero | tr '\\0' ' '", "", "it printed more than 4096 bytes"},
		{"echo 12,5W", "12.5W", ""},
		{"echo 1,234W", "", "1,234 may be 1.234 or 1234"},
		{"sleep 100", "", "not ended within 300ms; it was killed"},
		{"trap '' TERM INT HUP; sleep 100 & sleep 100", "", "not ended within 300ms; it was killed"},
		{"sleep 100 & echo 21W", "21W", ""},
		{"sleep 100 & exit 2", "", "exit status 2"},
	} {
		t.Run(c.script, func(t *testing.T) {
			t.Parallel()
			command := &settingCommand{words: []string{"sh", "-c", c.script}, timeout: 300 * time.Millisecond}
			if c.failure != "not ended within 300ms; it was killed" {
				command.timeout = time.Minute
			}
			start := time.Now()
			s, err := command.read(t.Context())
			if s.String() != c.want || (err == nil) != (c.failure == "") || err != nil && !strings.Contains(err.Error(), "setting command sh: ") || err != nil && !strings.Contains(err.Error(), c.failure) {
				t.Errorf("%q, %v; want %q, %q", s, err, c.want, c.failure)
			}
			if took := time.Since(start); took > 10*time.Second {
				t.Errorf("took %v", took)
			}
		})
	}
	if newSettingCommand(nil) != nil {
		t.Error("a command where none is configured")
	}
	if _, err := newSettingCommand([]string{"/nowhere/print-limit"})(t.Context()); err == nil || !strings.Contains(err.Error(), "/nowhere/print-limit") {
		t.Errorf("no such program: %v", err)
	}
}

// What the command leaves running in its group is ended with it, and its end does
// not wait for what left the group and holds the output open.
func TestSettingCommandLeavesNothingBehind(t *testing.T) {
	pidFile := filepath.Join(t.TempDir(), "pid")
	command := newSettingCommand([]string{"sh", "-c", "sleep 100 & echo $! >" + pidFile + "; echo 21W"})
	if s, err := command(t.Context()); err != nil || s.String() != "21W" {
		t.Fatalf("%v, %v", s, err)
	}
	text, err := os.ReadFile(pidFile)
	if err != nil {
		t.Fatal(err)
	}
	pid, err := strconv.Atoi(strings.TrimSpace(string(text)))
	if err != nil {
		t.Fatal(err)
	}
	eventually(t, "the sleeper is ended", func() bool {
		stat, err := os.ReadFile("/proc/" + strconv.Itoa(pid) + "/stat")
		return err != nil && syscall.Kill(pid, 0) != nil || strings.Contains(string(stat), ") Z ")
	})
	if _, err := os.Stat("/usr/bin/setsid"); err == nil {
		start := time.Now()
		s, err := newSettingCommand([]string{"sh", "-c", "setsid sleep 30 & echo 22W"})(t.Context())
		if took := time.Since(start); err != nil || s.String() != "22W" || took > 20*time.Second {
			t.Errorf("%v, %v after %v", s, err, took)
		}
	}
}

// The end of the agent does not wait for the command's.
func TestSettingCommandEndsWithTheAgent(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	time.AfterFunc(50*time.Millisecond, cancel)
	start := time.Now()
	if _, err := newSettingCommand([]string{"sleep", "100"})(ctx); err == nil || time.Since(start) > 20*time.Second {
		t.Errorf("%v after %v", err, time.Since(start))
	}
}

// One that does not end although it was killed is not joined by others.
func TestSettingCommandThatCannotBeKilled(t *testing.T) {
	c := &settingCommand{words: []string{"echo", "21W"}, timeout: time.Minute, alive: make(chan struct{})}
	if _, err := c.read(t.Context()); err == nil || !strings.Contains(err.Error(), "still does not end") {
		t.Errorf("%v", err)
	}
	close(c.alive)
	if s, err := c.read(t.Context()); err != nil || s.String() != "21W" {
		t.Errorf("%v, %v", s, err)
	}
}
