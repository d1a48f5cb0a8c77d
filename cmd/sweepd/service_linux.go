package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"sweepd/collectors"
	"sweepd/console"
	"sweepd/deploy"
	"sweepd/run"
	"sweepd/store"
	"sweepd/store/sqlite"
)

// serviceCommands install the program below the home folder; for the whole system
// there are packages.
func (a *app) serviceCommands() []*cobra.Command {
	group := &cobra.Command{
		Use:   "service",
		Short: "Install, upgrade or remove the program and its service below your home folder",
		Long: `Install this program below your home folder, with the agent as a service of your
own systemd that starts when you log in: for systems whose root is read-only, and
wherever you are not root. Nothing outside the home folder is touched.

  ~/.local/bin/sweepd                      the program
  ~/.config/systemd/user/sweepd.service    the service (XDG_CONFIG_HOME)
  ~/.config/sweepd/sweepd.yaml             the configuration: every option explained
  ~/.local/state/sweepd                    the data (XDG_STATE_HOME)

"systemctl --user start|stop|restart|status sweepd" works the service. It ends with your
last session; "sudo loginctl enable-linger USER" has it run from boot on.`,
		Example: `  ./sweepd service install       also upgrades: a run that is recording goes on
  sweepd service remove          data and configuration stay`,
	}
	group.AddCommand(
		&cobra.Command{Use: "install", Aliases: []string{"upgrade", "update"}, Short: "Install the program and start its service; upgrade what is there", Example: "  ./sweepd service install", Args: cobra.NoArgs,
			RunE: func(cmd *cobra.Command, _ []string) error { return a.installHome(cmd.Context()) }},
		&cobra.Command{Use: "remove", Aliases: []string{"uninstall"}, Short: "Stop the service and remove it with the program; the data stays", Example: "  sweepd service remove", Args: cobra.NoArgs,
			RunE: func(cmd *cobra.Command, _ []string) error { return a.removeHome(cmd.Context()) }},
	)
	return []*cobra.Command{group}
}

func (a *app) installHome(ctx context.Context) error {
	h, err := deploy.FindHome(a.getenv)
	if err != nil {
		return err
	}
	if a.data != "" || a.configPath != "" {
		return misused(fmt.Errorf("the service finds its data and its configuration by itself, as your commands do: for another folder write data: DIR into %s", h.Configuration))
	}
	c, err := a.serviceConfig()
	if err != nil {
		return err
	}
	if a.systemConfig() != "" {
		h.Configuration = "" // one is in force
	}
	program, err := os.Executable()
	if err != nil {
		return err
	}
	done, err := h.Install(ctx, program, func() error { return portFree(c) })
	if err := homeError(err); err != nil {
		return err
	}
	a.sayInstalled(h, done)
	a.sayFolders(h, c)
	a.sayPath(h)
	a.saySession(h, done)
	a.sayCounters(h)
	return nil
}

// serviceConfig is the configuration that the service will find, whatever this
// shell says.
func (a *app) serviceConfig() (config, error) { return loadConfig(a.systemConfig()) }

// serviceData is the folder of the service's data.
func (a *app) serviceData(c config) string {
	if c.Data != "" {
		return c.Data
	}
	return a.usualDataDir()
}

// portFree says who might be in the way of an agent, which could tell its journal only.
func portFree(c config) error {
	ls, err := console.Listen(c.Listen)
	for _, l := range ls {
		l.Close()
	}
	return err
}

// homeError says what to do about a home folder that cannot be written.
func homeError(err error) error {
	switch {
	case errors.Is(err, syscall.EROFS), errors.Is(err, syscall.EACCES):
		return fmt.Errorf("%w: your home folder has to be writable; without installing, ./sweepd agent --data DIR works with any folder", err)
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return fmt.Errorf("%w: make room for 40 MB and install again", err)
	}
	return err
}

func (a *app) sayInstalled(h deploy.Home, done deploy.Installed) {
	version := currentVersion()
	what := fmt.Sprintf("sweepd %s is installed for %s", version, h.User)
	switch {
	case done.Same:
		what = fmt.Sprintf("sweepd %s was installed already", version)
	case done.Before != "" && done.Before != version:
		what += ", in place of " + done.Before
	case done.Before != "":
		what += ", in place of another build of it"
	}
	switch {
	case done.Old:
		what += ".\nThe agent goes on as the program it was, so that no run is cut off:\n" +
			"  systemctl --user restart sweepd     when no run is recording"
	case done.Running:
		what += ": the agent runs, and starts when you log in."
	case done.Disabled:
		what += ".\nYou have switched the service off; it stays so until\n  systemctl --user enable --now sweepd"
	case errors.Is(done.Unreachable, exec.ErrNotFound):
		what += ". This system has no systemd: have your desktop start the\nagent when you log in, or type it:\n  " + quoted(h.Program) + " agent"
	case done.Unreachable != nil:
		what += ": the agent starts when you log in."
	}
	fmt.Fprintln(a.out, what)
}

func (a *app) sayFolders(h deploy.Home, c config) {
	fmt.Fprintf(a.out, "  program        %s\n  service        %s\n", h.Program, h.Unit)
	if path := a.systemConfig(); path != "" {
		fmt.Fprintf(a.out, "  configuration  %s explains every option\n", path)
	}
	fmt.Fprintf(a.out, "  data           %s\n", a.serviceData(c))
	if dir := a.getenv("SWEEPD_DATA"); dir != "" && dir != a.serviceData(c) {
		fmt.Fprintf(a.out, "SWEEPD_DATA is set in this shell: commands typed here use %s, not the service's data.\n  unset SWEEPD_DATA\n", dir)
	}
}

// sayPath tells where the shell would not find the program.
func (a *app) sayPath(h deploy.Home) {
	found, err := exec.LookPath("sweepd")
	if err == nil && sameFile(found, h.Program) {
		return
	}
	dir, why := filepath.Dir(h.Program), "is not in PATH"
	if err == nil {
		why = "comes after " + found + " in PATH"
	}
	fmt.Fprintf(a.out, "%s %s: write this into ~/.profile, and type it here too:\n  export PATH=\"%s:$PATH\"\n", dir, why, dir)
}

func sameFile(a, b string) bool {
	x, err := os.Stat(a)
	y, err2 := os.Stat(b)
	return err == nil && err2 == nil && os.SameFile(x, y)
}

// saySession tells where the user's systemd is not there, or goes with this session.
func (a *app) saySession(h deploy.Home, done deploy.Installed) {
	linger := "  sudo loginctl enable-linger " + h.User
	switch {
	case errors.Is(done.Unreachable, exec.ErrNotFound):
	case done.Unreachable != nil:
		fmt.Fprintf(a.out, "It does not run yet, for no systemd of %s answers here:\n  %v\nTo start it without logging in, now and from boot on:\n%s\n", h.User, done.Unreachable, linger)
	case a.getenv("SSH_CONNECTION") != "":
		if _, err := os.Stat("/var/lib/systemd/linger/" + h.User); err != nil {
			fmt.Fprintf(a.out, "You came by ssh: the agent ends with your last session, and a run with it, unless\n%s\n", linger)
		}
	}
}

// sayCounters tells the one step that needs root, where it is needed.
func (a *app) sayCounters(h deploy.Home) {
	counters, _ := filepath.Glob(filepath.Join(cmp.Or(collectors.HostRoots().Sys, "/sys"), "class/powercap/*/energy_uj")) // the pattern is fine
	for _, counter := range counters {
		if f, err := os.Open(counter); errors.Is(err, os.ErrPermission) {
			fmt.Fprintf(a.out, "Optional, as root: the processor's energy counters are closed to %s. To open them for good:\n"+
				"  sudo cp %s /etc/udev/rules.d/\n  sudo udevadm trigger --subsystem-match=powercap\n", h.User, quoted(h.Rule))
			return
		} else if err == nil {
			f.Close()
		}
	}
}

// quoted is a path as one word of a shell.
func quoted(path string) string {
	if strings.ContainsFunc(path, func(r rune) bool {
		return !strings.ContainsRune("/._-+", r) && !('0' <= r && r <= '9' || 'a' <= r && r <= 'z' || 'A' <= r && r <= 'Z')
	}) {
		return "'" + strings.ReplaceAll(path, "'", `'\''`) + "'"
	}
	return path
}

// udevRule is where root put the rule, if he did.
const udevRule = "/etc/udev/rules.d/60-sweepd.rules"

func (a *app) removeHome(ctx context.Context) error {
	h, err := deploy.FindHome(a.getenv)
	if err != nil {
		return err
	}
	c, err := a.serviceConfig()
	if err != nil {
		return err
	}
	dir := a.serviceData(c)
	if h.Running(ctx) {
		if id := recordingIn(ctx, dir); id != "" {
			return fmt.Errorf("run %s is recording, and removing would cut it off: end it first (sweepd run stop)", run.ShortID(id))
		}
	}
	kept, err := h.Remove(ctx)
	if errors.Is(err, deploy.ErrNotInstalled) {
		return fmt.Errorf("nothing to remove: sweepd is %w", err)
	}
	switch {
	case errors.Is(err, syscall.EROFS), errors.Is(err, syscall.EACCES):
		return fmt.Errorf("%w: your home folder has to be writable for anything to be removed; the agent is stopped, and what is left goes with the same command then", err)
	case err != nil:
		return err
	}
	if _, err := os.Stat(dir); err == nil {
		kept = append([]string{dir}, kept...)
	}
	fmt.Fprintln(a.out, "sweepd is removed.")
	if len(kept) > 0 {
		words := "  rm -r"
		for _, path := range kept {
			words += " " + quoted(path)
		}
		fmt.Fprintf(a.out, "Your data and settings stay; this would delete them:\n%s\n", words)
	}
	if _, err := os.Stat(udevRule); err == nil {
		fmt.Fprintf(a.out, "The udev rule that root put there stays, too:\n  sudo rm %s\n", udevRule)
	}
	return nil
}

// recordingIn is the run that is recording into a folder, "" where none can be found.
func recordingIn(ctx context.Context, dir string) (id string) {
	s, err := sqlite.Open(dir, sqlite.Options{ReadOnly: true})
	if err != nil {
		return ""
	}
	defer s.Close()
	runs, err := s.Runs(ctx, store.Filter{State: run.Recording, Limit: 1})
	if err != nil || len(runs) == 0 {
		return ""
	}
	return runs[0].ID
}
