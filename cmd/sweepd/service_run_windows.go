package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/coreos/go-systemd/v22/daemon"
	"go.uber.org/zap"
	"golang.org/x/sys/windows"
	"golang.org/x/sys/windows/svc"
	"golang.org/x/sys/windows/svc/eventlog"
)

// runAsService runs the agent under the service manager of Windows, with its log in
// a file. That the manager starts `service run` and a person `agent` spares guessing
// which of them it was.
func (a *app) runAsService() error {
	log, err := a.serviceLog()
	if err != nil {
		return err
	}
	defer log.Close()
	a.err = log
	m := &managed{ready: make(chan struct{}, 1), failed: a.serviceFailed}
	m.run = func(ctx context.Context) error { return a.watch(ctx, agentFlags{}) }
	a.tell = func(state string) error {
		if state == daemon.SdNotifyReady {
			m.ready <- struct{}{}
		}
		return nil
	}
	if err := svc.Run(serviceName, m); errors.Is(err, windows.ERROR_FAILED_SERVICE_CONTROLLER_CONNECT) {
		return errors.New("this is for the service manager to start; start the service with: sweepd service start, or run the agent without one: sweepd agent")
	} else if err != nil {
		return fmt.Errorf("answer the service manager: %w", err)
	}
	return nil
}

// managed is the agent as the service manager starts and stops it.
type managed struct {
	run    func(context.Context) error
	ready  chan struct{} // one value once the agent answers
	failed func(error)
}

var _ svc.Handler = (*managed)(nil)

// Execute tells the manager that the service runs when the agent answers, and that
// it has stopped when all data is stored. One that stops with an error is started
// again, as installService asked.
func (m *managed) Execute(_ []string, requests <-chan svc.ChangeRequest, status chan<- svc.Status) (specific bool, code uint32) {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	status <- svc.Status{State: svc.StartPending, WaitHint: uint32(serviceStart.Milliseconds())}
	ended := make(chan error, 1)
	go func() { ended <- m.run(ctx) }()
	for {
		select {
		case <-m.ready:
			status <- svc.Status{State: svc.Running, Accepts: svc.AcceptStop | svc.AcceptShutdown}
		case err := <-ended:
			if err != nil {
				m.failed(err)
				return true, exitFailed
			}
			return false, 0
		case r := <-requests:
			switch r.Cmd {
			case svc.Interrogate:
				status <- r.CurrentStatus
			case svc.Stop, svc.Shutdown:
				status <- svc.Status{State: svc.StopPending, WaitHint: uint32(serviceStop.Milliseconds())}
				cancel()
			}
		}
	}
}

// serviceFailed says why the agent ended, in the log and in the event log.
func (a *app) serviceFailed(err error) {
	newLogger(a.err).Error("the agent ended", zap.Error(err))
	if events, e := eventlog.Open(serviceName); e == nil {
		_ = events.Error(1, err.Error())
		_ = events.Close()
	}
}

// maxServiceLog is the size above which a start of the service begins a new log.
const maxServiceLog = 10 << 20

// serviceLog opens the log, and moves one that has grown large out of the way.
func (a *app) serviceLog() (*os.File, error) {
	path := a.serviceLogPath()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return nil, fmt.Errorf("make the folder of the log: %w", err)
	}
	if info, err := os.Stat(path); err == nil && info.Size() > maxServiceLog {
		if err := os.Rename(path, path+".old"); err != nil && !errors.Is(err, os.ErrNotExist) {
			return nil, err
		}
	}
	return os.OpenFile(path, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o644)
}
