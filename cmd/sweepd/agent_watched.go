package main

import (
	"io"
	"os"
	"os/exec"
	"os/signal"
	"runtime"
	"syscall"

	"go.uber.org/zap"
)

// watched has another process watch this one while anything is set, which puts back for it
// where it dies, of whatever: a panic anywhere, a kill, no memory left. The service manager
// does so too (ExecStopPost); an agent in a terminal has nobody else. It sleeps in a read
// until this process closes the other end of a pipe, by saying that all is well or by dying.
func (a *app) watched(dir string, log *zap.Logger) func() (over func(well bool)) {
	if a.machine != nil {
		return nil // a demonstration's device dies with its process
	}
	return func() func(bool) {
		end, err := a.startWatcher(dir)
		if err != nil {
			log.Warn("nobody puts back what is set if this agent is killed, until it or its service is started again", zap.Error(err))
			return func(bool) {}
		}
		return func(well bool) {
			if well {
				_, _ = io.WriteString(end, allWell)
			}
			_ = end.Close()
		}
	}
}

// allWell is what an agent says that has nothing set any more.
const allWell = "over\n"

func (a *app) startWatcher(dir string) (io.WriteCloser, error) {
	program, err := os.Executable()
	if runtime.GOOS == "linux" {
		program, err = "/proc/self/exe", nil // also where an upgrade has replaced the file
	}
	if err != nil {
		return nil, err
	}
	args := []string{"actuators", "restore", "--watch-agent", "--after-agent", "--data", dir}
	if a.configPath != "" {
		args = append(args, "--config", a.configPath)
	}
	cmd := exec.Command(program, args...)
	cmd.Args[0] = "sweepd"
	cmd.Stdout, cmd.Stderr = os.Stderr, os.Stderr
	cmd.SysProcAttr = apart()
	end, err := cmd.StdinPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	go cmd.Wait() //nolint:errcheck // it says by itself what went wrong
	return end, nil
}

// waitForEnd waits until the agent at the other end dies, or says that all is well.
// Signals are for the agent: whoever watches outlives them.
func waitForEnd(in io.Reader) (well bool) {
	signal.Ignore(os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	said, _ := io.ReadAll(io.LimitReader(in, int64(len(allWell))))
	return string(said) == allWell
}
