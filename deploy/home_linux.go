package deploy

import (
	"bytes"
	"context"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

//go:embed systemd/user.service
var userUnit string

//go:embed systemd/sweepd-runner.service
var runnerUnit string

//go:embed udev/60-sweepd-user.rules
var userRule string

// Home is an installation below a user's home folder, for systems whose root is
// read-only. Its agent is a service of the user's own systemd, started at log-in.
// Where what lies: XDG Base Directory Specification 0.8 and systemd.unit(5), "User
// Unit Search Path".
type Home struct {
	User          string // who installs
	Program       string
	Unit          string
	Configuration string // Install writes none where this is empty
	Rule          string // of udev, for root to copy
	Runner        string // the unit of what carries out workloads; Install enables it not
	account       *user.User
	environment   []string // what the agent has to find its folders by
	systemUnits   []string // where a package has its unit
}

// FindHome tells where an installation of the user who asks lies, whether there is
// one or not.
func FindHome(getenv func(string) string) (Home, error) {
	if os.Geteuid() == 0 {
		return Home{}, errors.New("this would be root's own: type it without sudo, as the user who logs in to the device; for the whole system there are packages")
	}
	home := getenv("HOME")
	if !filepath.IsAbs(home) {
		return Home{}, fmt.Errorf("HOME is %q: it has to name the home folder", home)
	}
	account, err := user.Current()
	if err != nil {
		return Home{}, fmt.Errorf("who asks is not known: %w", err)
	}
	h := Home{User: account.Username, account: account, systemUnits: []string{
		"/etc/systemd/system/sweepd.service", "/usr/lib/systemd/system/sweepd.service", "/lib/systemd/system/sweepd.service"}}
	folder := func(name, usual string) string {
		dir := getenv(name)
		if !filepath.IsAbs(dir) { // such a one counts as unset, says the specification
			return filepath.Join(home, usual)
		}
		if dir != filepath.Join(home, usual) {
			h.environment = append(h.environment, name+"="+dir)
		}
		return dir
	}
	folder("XDG_STATE_HOME", ".local/state")
	config := folder("XDG_CONFIG_HOME", ".config")
	h.Program = filepath.Join(home, ".local/bin/sweepd")
	h.Unit = filepath.Join(config, "systemd/user/sweepd.service")
	h.Runner = filepath.Join(filepath.Dir(h.Unit), "sweepd-runner.service")
	h.Configuration = filepath.Join(config, "sweepd/sweepd.yaml")
	h.Rule = filepath.Join(home, ".local/share/sweepd/60-sweepd.rules")
	return h, nil
}

// link is what starts the unit at log-in (systemctl(1), enable).
func (h Home) link() string {
	return filepath.Join(filepath.Dir(h.Unit), "default.target.wants", filepath.Base(h.Unit))
}

// runnerLink is what starts the runner with the desktop session, where the user enabled it.
func (h Home) runnerLink() string {
	return filepath.Join(filepath.Dir(h.Runner), "graphical-session.target.wants", filepath.Base(h.Runner))
}

// dropIns is the folder of what the user changed with `systemctl --user edit`.
func (h Home) dropIns() string { return h.Unit + ".d" }

// Installed is what Install found and did.
type Installed struct {
	Before      string // version of the program that was there; "" where there was none
	Same        bool   // the same program was there already
	Disabled    bool   // the user had switched the service off: it stays so
	Running     bool   // the service runs
	Old         bool   // it runs what was there before
	Unreachable error  // why the user's systemd could not be asked
}

// Install puts a program in place, with its service, its configuration where there is
// none, and the udev rule, and has the service started. What runs goes on: a restart
// would cut off the run that is recording.
func (h Home) Install(ctx context.Context, program string, ready func() error) (done Installed, err error) {
	if err := h.alone(); err != nil {
		return done, err
	}
	_, err = os.Lstat(h.Unit)
	fresh := errors.Is(err, fs.ErrNotExist)
	text, err := os.ReadFile(program)
	if err != nil {
		return done, fmt.Errorf("read the program: %w", err)
	}
	done.Before = versionOf(ctx, h.Program)
	done.Same = holds(h.Program, text)
	if err := replace(h.Program, text, 0o755); err != nil {
		return done, err
	}
	if fresh {
		if err := h.enable(); err != nil {
			return done, err
		}
	}
	if _, err := os.Lstat(h.link()); err != nil {
		done.Disabled = true
	}
	if _, err := os.Stat(h.Configuration); h.Configuration != "" && errors.Is(err, fs.ErrNotExist) {
		if err := replace(h.Configuration, []byte(Configuration()), 0o644); err != nil {
			return done, err
		}
	}
	rule := strings.NewReplacer("USER", h.User, "UID", h.account.Uid).Replace(userRule)
	runner := strings.Replace(runnerUnit, "/usr/bin/sweepd", "%h/.local/bin/sweepd", 1)
	for path, text := range map[string]string{h.Unit: h.withFolders(userUnit), h.Runner: h.withFolders(runner), h.Rule: rule} {
		if err := replace(path, []byte(text), 0o644); err != nil {
			return done, err
		}
	}
	return done, h.start(ctx, &done, ready)
}

// alone refuses where a package has brought a service: both agents would want the same
// port, and commands could not tell whose data is meant.
func (h Home) alone() error {
	for _, unit := range h.systemUnits {
		if _, err := os.Stat(unit); err == nil {
			return fmt.Errorf("sweepd is installed for the whole system already (%s), and two agents would want the same port: use that one, or remove its package first", unit)
		}
	}
	return nil
}

// withFolders is a unit's text with the folders that the user named in the shell, which are
// not known to systemd.
func (h Home) withFolders(unit string) string {
	if len(h.environment) == 0 {
		return unit
	}
	line := "Environment="
	for _, pair := range h.environment { // systemd.syntax(7), "Quoting"; % would be a specifier
		line += `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`, "%", "%%").Replace(pair) + `" `
	}
	return strings.Replace(unit, "ExecStart=", strings.TrimSpace(line)+"\nExecStart=", 1)
}

func (h Home) enable() error {
	if err := os.MkdirAll(filepath.Dir(h.link()), 0o755); err != nil {
		return err
	}
	if err := os.Symlink(h.Unit, h.link()); !errors.Is(err, fs.ErrExist) {
		return err
	}
	return nil
}

// start has systemd read the unit, and starts it where it does not run and the user
// wants it to. ready says what stands in the way of an agent.
func (h Home) start(ctx context.Context, done *Installed, ready func() error) error {
	if _, err := h.systemctl(ctx, "daemon-reload"); err != nil {
		done.Unreachable = err
		return nil
	}
	state, err := h.properties(ctx, "LoadState", "ActiveState", "MainPID")
	if err != nil {
		return err
	}
	if state["LoadState"] == "not-found" {
		return fmt.Errorf("systemd does not look for units in %s: XDG_CONFIG_HOME seems to be set in this shell alone; unset it and install again", filepath.Dir(h.Unit))
	}
	if done.Running = state["ActiveState"] == "active"; done.Running {
		exe, err := os.Readlink("/proc/" + state["MainPID"] + "/exe")
		done.Old = err == nil && exe != h.Program // "(deleted)" behind it, proc_pid_exe(5)
		return nil
	}
	if done.Disabled {
		return nil
	}
	if err := ready(); err != nil {
		return fmt.Errorf("installed, but the agent cannot start: %w; then: systemctl --user start sweepd", err)
	}
	if _, err := h.systemctl(ctx, "start", filepath.Base(h.Unit)); err != nil {
		return fmt.Errorf("installed, but the agent did not start: %w; `journalctl --user -u sweepd` says why, and so does `%s agent`", err, h.Program)
	}
	done.Running = true
	return nil
}

// Running tells whether the service's agent runs.
func (h Home) Running(ctx context.Context) bool {
	state, err := h.properties(ctx, "ActiveState")
	return err == nil && slices.Contains([]string{"active", "activating", "reloading"}, state["ActiveState"])
}

// ErrNotInstalled is returned where nothing is to be removed.
var ErrNotInstalled = errors.New("not installed")

// Remove stops the service and removes what Install put there. Configuration and data
// stay; kept lists what of the configuration there is.
func (h Home) Remove(ctx context.Context) (kept []string, err error) {
	mine := []string{h.link(), h.runnerLink(), h.Unit, h.Runner, h.Rule, h.Program}
	there := slices.ContainsFunc(mine, func(path string) bool { _, err := os.Lstat(path); return err == nil })
	if !there {
		return nil, fmt.Errorf("%w below your home folder: there is no %s and no %s", ErrNotInstalled, h.Program, h.Unit)
	}
	if h.Running(ctx) {
		if _, err := h.systemctl(ctx, "stop", filepath.Base(h.Unit)); err != nil {
			return nil, fmt.Errorf("stop the agent: %w", err)
		}
	}
	if _, err := os.Lstat(h.Runner); err == nil {
		_, _ = h.systemctl(ctx, "stop", filepath.Base(h.Runner)) // it need not run
	}
	for _, path := range mine {
		if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return nil, err
		}
	}
	for _, dir := range []string{filepath.Dir(h.link()), filepath.Dir(h.runnerLink()), filepath.Dir(h.Rule)} {
		_ = os.Remove(dir) // it may hold what others put there
	}
	_, _ = h.systemctl(ctx, "daemon-reload") // without a systemd there is nothing that knows the unit
	_, _ = h.systemctl(ctx, "reset-failed", filepath.Base(h.Unit))
	for _, path := range []string{h.Configuration, h.dropIns()} {
		if _, err := os.Stat(path); err == nil {
			kept = append(kept, path)
		}
	}
	return kept, nil
}

// properties asks systemd about the service.
func (h Home) properties(ctx context.Context, names ...string) (map[string]string, error) {
	text, err := h.systemctl(ctx, "show", "-p", strings.Join(names, ","), filepath.Base(h.Unit))
	if err != nil {
		return nil, err
	}
	found := map[string]string{}
	for line := range strings.Lines(text) {
		name, value, _ := strings.Cut(strings.TrimSpace(line), "=")
		found[name] = value
	}
	return found, nil
}

// systemctl asks the user's systemd, also where the log-in did not say where it is
// (su, sudo -u): pam_systemd(8) names the folder.
func (h Home) systemctl(ctx context.Context, args ...string) (string, error) {
	cmd := exec.CommandContext(ctx, "systemctl", append([]string{"--user", "--quiet"}, args...)...)
	cmd.Env = os.Environ()
	if os.Getenv("XDG_RUNTIME_DIR") == "" {
		cmd.Env = append(cmd.Env, "XDG_RUNTIME_DIR=/run/user/"+h.account.Uid)
	}
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if said := bytes.TrimSpace(stderr.Bytes()); err != nil && len(said) > 0 {
		first, _, _ := strings.Cut(string(said), "\n")
		return "", errors.New(first)
	}
	return string(out), err
}

// versionOf asks a program for its version; "" where there is none that tells.
func versionOf(ctx context.Context, program string) string {
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	out, err := exec.CommandContext(ctx, program, "version", "--json").Output()
	var v struct{ Version string }
	if err != nil || json.Unmarshal(out, &v) != nil {
		return ""
	}
	return v.Version
}

// holds tells whether a file has this text.
func holds(path string, text []byte) bool {
	old, err := os.ReadFile(path)
	return err == nil && bytes.Equal(old, text)
}

// replace puts a file in the place of another, at once and whole: a program that runs
// keeps its own.
func replace(path string, text []byte, mode fs.FileMode) (err error) {
	if info, err := os.Stat(path); err == nil && info.Mode().Perm() == mode && holds(path, text) {
		return nil // so that nothing needs to be writable where nothing changes
	}
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	f, err := os.CreateTemp(dir, ".sweepd-*")
	if err != nil {
		return err
	}
	_, err = io.Copy(f, bytes.NewReader(text))
	err = errors.Join(err, f.Chmod(mode), f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		_ = os.Remove(f.Name())
	}
	return err
}
