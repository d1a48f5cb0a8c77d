package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"github.com/kardianos/service"
	"github.com/spf13/cobra"
	"golang.org/x/sys/windows"
	"golang.org/x/sys/windows/svc"
	"golang.org/x/sys/windows/svc/mgr"

	"sweepd/deploy"
)

// serviceName is what the service manager and the event log know the agent by.
const serviceName = "sweepd"

func (a *app) serviceCommands() []*cobra.Command {
	group := &cobra.Command{
		Use:   "service",
		Short: "Install or remove the agent as a Windows service",
		Long: `Install or remove the agent as a service that starts with Windows. It runs this
very program from where it lies, so put it where it is to stay, such as
C:\Program Files\sweepd. Data, configuration (sweepd.yaml) and log (sweepd.log)
lie in the folder sweepd of ProgramData; errors that end the service go to the
event log too. An administrator's prompt is needed.`,
		Example: `  sweepd service install
  sweepd service start
  sweepd service remove                           the data stays`,
	}
	for _, c := range []struct {
		use, short, done string
		act              func(context.Context) error
	}{
		{"install", "Install the service; it starts with Windows from then on", "installed; start it now with: sweepd service start", a.installService},
		{"remove", "Stop and remove the service; the data stays", "removed; the data stays", a.removeService},
		{"start", "Start the service, and wait until the agent answers", "started", a.startService},
		{"stop", "Stop the service; a recording run is kept as interrupted", "stopped", stopService},
	} {
		group.AddCommand(&cobra.Command{Use: c.use, Short: c.short, Example: "  sweepd service " + c.use, Args: cobra.NoArgs, RunE: func(cmd *cobra.Command, _ []string) error {
			if err := c.act(cmd.Context()); err != nil {
				return fmt.Errorf("%s the service %s: %w", c.use, serviceName, explainManager(err))
			}
			_, err := fmt.Fprintln(a.out, "service "+serviceName+" "+c.done)
			return err
		}})
	}
	group.AddCommand(&cobra.Command{Use: "run", Short: "What the service manager starts", Example: "  sweepd service run", Args: cobra.NoArgs, Hidden: true,
		RunE: func(*cobra.Command, []string) error { return a.runAsService() }})
	return []*cobra.Command{group}
}

// explainManager adds what to do about an error of the service manager.
func explainManager(err error) error {
	switch {
	case errors.Is(err, windows.ERROR_ACCESS_DENIED):
		return fmt.Errorf("%w: it needs an administrator's prompt", err)
	case errors.Is(err, windows.ERROR_SERVICE_DOES_NOT_EXIST):
		return fmt.Errorf("%w: install it with: sweepd service install", err)
	}
	return err
}

func (a *app) installService(context.Context) error {
	s, err := a.definedService()
	if err != nil {
		return err
	}
	if err := s.Install(); err != nil {
		return err
	}
	if err := closeFolder(a.usualDataDir()); err != nil {
		fmt.Fprintf(a.err, "sweepd: other users may be able to write into %s: %v\n", a.usualDataDir(), err)
	}
	if err := a.writeConfiguration(); err != nil {
		return err
	}
	return withService(func(s *mgr.Service) error {
		if err := s.SetRecoveryActionsOnNonCrashFailures(true); err != nil { // Wine has no such thing
			fmt.Fprintf(a.err, "sweepd: this system restarts the service only if it crashes: %v\n", err)
		}
		return nil
	})
}

// writeConfiguration writes one that explains every option, where there is none.
func (a *app) writeConfiguration() error {
	path := a.systemConfigPath()
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, fs.ErrExist) {
		_, err := fmt.Fprintf(a.out, "%s was there already: see that it says what the service is to do\n", path)
		return err
	}
	if err != nil {
		return err
	}
	_, err = f.WriteString(deploy.Configuration())
	if err := errors.Join(err, f.Close()); err != nil {
		return err
	}
	_, err = fmt.Fprintf(a.out, "%s explains every option\n", path)
	return err
}

// closeFolder makes a folder into which only administrators and the system may
// write: its sweepd.yaml can name a program, which the service would run with all
// its rights. Who may use this computer may read it. (Security Descriptor String
// Format: owner BA, administrators; full access FA, reading 0x1200a9; the users BU.)
func closeFolder(dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	closed, err := windows.SecurityDescriptorFromString("O:BAD:P(A;OICI;FA;;;SY)(A;OICI;FA;;;BA)(A;OICI;0x1200a9;;;BU)")
	if err != nil {
		return err
	}
	owner, _, err := closed.Owner()
	if err != nil {
		return err
	}
	rights, _, err := closed.DACL()
	if err != nil {
		return err
	}
	files, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, f := range files { // an owner may give back what is taken from others
		if err := windows.SetNamedSecurityInfo(filepath.Join(dir, f.Name()), windows.SE_FILE_OBJECT, windows.OWNER_SECURITY_INFORMATION, owner, nil, nil, nil); err != nil {
			return fmt.Errorf("%s: %w", f.Name(), err)
		}
	}
	return windows.SetNamedSecurityInfo(dir, windows.SE_FILE_OBJECT,
		windows.OWNER_SECURITY_INFORMATION|windows.DACL_SECURITY_INFORMATION|windows.PROTECTED_DACL_SECURITY_INFORMATION, owner, nil, rights, nil)
}

func (a *app) removeService(ctx context.Context) error {
	err := stopService(ctx)
	if err != nil && !errors.Is(err, windows.ERROR_SERVICE_NOT_ACTIVE) {
		return err
	}
	s, err := a.definedService()
	if err != nil {
		return err
	}
	return s.Uninstall()
}

// definedService is the service as it is installed: with the configuration and the
// data that this command was given.
func (a *app) definedService() (service.Service, error) {
	arguments := []string{"service", "run"}
	for _, f := range []struct{ flag, path string }{{"--config", a.configPath}, {"--data", a.data}} {
		if f.path == "" {
			continue
		}
		path, err := filepath.Abs(f.path) // the service has another working folder
		if err != nil {
			return nil, err
		}
		arguments = append(arguments, f.flag, path)
	}
	return service.New(nil, &service.Config{
		Name: serviceName, DisplayName: "sweepd", Description: "Watches this device while workloads run on it.", Arguments: arguments,
		Option: service.KeyValue{service.OnFailure: service.OnFailureRestart, service.OnFailureDelayDuration: "5s"},
	})
}

// serviceStart and serviceStop are how long is waited for a service to start (runs
// that a crash left behind are judged first) and to stop.
const (
	serviceStart = 5 * time.Minute
	serviceStop  = time.Minute
)

func (a *app) startService(ctx context.Context) error {
	return withService(func(s *mgr.Service) error {
		if err := s.Start(); err != nil {
			return err
		}
		state, err := settled(ctx, s, serviceStart, svc.Running, svc.Stopped)
		if err == nil && state == svc.Stopped {
			err = fmt.Errorf("the agent ended at once; %s", a.lastError())
		}
		return err
	})
}

func stopService(ctx context.Context) error {
	return withService(func(s *mgr.Service) error {
		state, err := settled(ctx, s, serviceStart, svc.Running, svc.Stopped) // while it starts it cannot be stopped
		if err != nil {
			return err
		}
		if state == svc.Stopped {
			return windows.ERROR_SERVICE_NOT_ACTIVE
		}
		if _, err := s.Control(svc.Stop); err != nil {
			return err
		}
		_, err = settled(ctx, s, serviceStop, svc.Stopped)
		return err
	})
}

// withService hands the installed service to f.
func withService(f func(*mgr.Service) error) error {
	m, err := mgr.Connect()
	if err != nil {
		return err
	}
	defer m.Disconnect() //nolint:errcheck // nothing was changed through it that could be lost
	s, err := m.OpenService(serviceName)
	if err != nil {
		return err
	}
	defer s.Close()
	return f(s)
}

// settled waits until the service is in one of the states and returns it.
func settled(ctx context.Context, s *mgr.Service, patience time.Duration, states ...svc.State) (svc.State, error) {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	for again := time.NewTicker(100 * time.Millisecond); ; {
		status, err := s.Query()
		if err != nil || slices.Contains(states, status.State) {
			return status.State, err
		}
		select {
		case <-ctx.Done():
			return status.State, fmt.Errorf("that was not done within %v: %w", patience, ctx.Err())
		case <-again.C:
		}
	}
}

// lastError is what the log says last, if that is an error.
func (a *app) lastError() string {
	path := a.serviceLogPath()
	text, _ := os.ReadFile(path)
	lines := bytes.Split(bytes.TrimSpace(text), []byte("\n"))
	var last struct{ Level, Error string }
	if json.Unmarshal(lines[len(lines)-1], &last) == nil && last.Error != "" {
		return path + " says: " + last.Error
	}
	return "look into " + path
}
