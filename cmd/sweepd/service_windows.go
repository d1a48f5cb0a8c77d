package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/kardianos/service"
	"github.com/spf13/cobra"
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
		act              func(service.Service) error
	}{
		{"install", "Install the service; it starts with Windows from then on", "installed; start it now with: sweepd service start", service.Service.Install},
		{"remove", "Stop and remove the service; the data stays", "removed; the data stays", removeService},
		{"start", "Start the service", "started", service.Service.Start},
		{"stop", "Stop the service; a recording run is kept as interrupted", "stopped", service.Service.Stop},
	} {
		group.AddCommand(&cobra.Command{Use: c.use, Short: c.short, Example: "  sweepd service " + c.use, Args: cobra.NoArgs, RunE: func(*cobra.Command, []string) error {
			s, err := a.service(nil)
			if err != nil {
				return err
			}
			if err := c.act(s); err != nil {
				return fmt.Errorf("%s the service %s: %w; is this an administrator's prompt?", c.use, serviceName, err)
			}
			_, err = fmt.Fprintln(a.out, "service "+serviceName+" "+c.done)
			return err
		}})
	}
	return []*cobra.Command{group}
}

func removeService(s service.Service) error {
	if status, err := s.Status(); err == nil && status == service.StatusRunning {
		if err := s.Stop(); err != nil {
			return err
		}
	}
	return s.Uninstall()
}

func (a *app) service(p *serviceProgram) (service.Service, error) {
	arguments := []string{"agent"}
	for flag, value := range map[string]string{"--config": a.configPath, "--data": a.data} {
		if value == "" {
			continue
		}
		path, err := filepath.Abs(value) // the service has another working folder
		if err != nil {
			return nil, err
		}
		arguments = append(arguments, flag, path)
	}
	if p == nil {
		p = &serviceProgram{}
	}
	return service.New(p, &service.Config{
		Name: serviceName, DisplayName: "sweepd", Description: "Watches this device while workloads run on it.", Arguments: arguments,
		Option: service.KeyValue{service.OnFailure: service.OnFailureRestart, service.OnFailureDelayDuration: "5s"},
	})
}

// serviceProgram is the agent as the service manager starts and stops it.
type serviceProgram struct {
	run    func(context.Context) error
	cancel context.CancelFunc
	ended  chan struct{}
	err    error
}

// Start must return at once.
func (p *serviceProgram) Start(s service.Service) error {
	ctx, cancel := context.WithCancel(context.Background())
	p.cancel, p.ended = cancel, make(chan struct{})
	go func() {
		defer close(p.ended)
		if p.err = p.run(ctx); p.err == nil || ctx.Err() != nil {
			return
		}
		if log, err := s.Logger(nil); err == nil {
			_ = log.Error(p.err) // to the event log
		}
		os.Exit(exitFailed) // the manager restarts what ends without having been told to
	}()
	return nil
}

func (p *serviceProgram) Stop(service.Service) error {
	p.cancel()
	<-p.ended
	return p.err
}

// supervised runs the agent: as a service with its log in a file where the service
// manager started this program, else as it is.
func (a *app) supervised(ctx context.Context, run func(context.Context) error) error {
	if service.Interactive() {
		return run(ctx)
	}
	log, err := a.serviceLog()
	if err != nil {
		return err
	}
	defer log.Close()
	a.err = log
	s, err := a.service(&serviceProgram{run: run})
	if err != nil {
		return err
	}
	return s.Run()
}

// maxServiceLog is the size above which a start of the service begins a new log.
const maxServiceLog = 10 << 20

// serviceLog opens sweepd.log, and moves one that has grown large out of the way.
func (a *app) serviceLog() (*os.File, error) {
	dir := filepath.Join(a.getenv("ProgramData"), "sweepd")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("make the folder of the log: %w", err)
	}
	path := filepath.Join(dir, "sweepd.log")
	if info, err := os.Stat(path); err == nil && info.Size() > maxServiceLog {
		if err := os.Rename(path, path+".old"); err != nil && !errors.Is(err, os.ErrNotExist) {
			return nil, err
		}
	}
	return os.OpenFile(path, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o644)
}
