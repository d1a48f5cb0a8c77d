// Command setter sets places as sweepd does, or puts them back, and has an end made of it
// at a step: by a cut of the power, or by a kill.
//
//	setter set|restore DATA cut|kill STEP [PATH=VALUE...]
//
// A step is one of actuators.FirstValues, or "written NAME", "put back NAME" with the last
// element of the path.
package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"

	"sweepd/actuators"
)

func main() {
	if err := do(os.Args[1], os.Args[2], os.Args[3], os.Args[4], os.Args[5:]); err != nil {
		fmt.Println("setter:", err)
		os.Exit(1)
	}
	fmt.Println("setter: came to its end")
	os.Exit(2)
}

func do(doing, data, end, at string, writes []string) error {
	step := func(name string) {
		if name != at {
			return
		}
		if end == "kill" {
			_ = syscall.Kill(os.Getpid(), syscall.SIGKILL)
		}
		fmt.Println("cut:", name)
		_ = os.WriteFile("/proc/sysrq-trigger", []byte("b"), 0)
		select {}
	}
	first, err := actuators.OpenFirstValues(data, actuators.FirstValuesOptions{Step: step})
	if err != nil {
		return err
	}
	m := machine{actuators.Host{}, step}
	if doing == "restore" {
		_, err := first.Restore(context.Background(), m)
		return err
	}
	panel := actuators.NewPanel(actuators.PanelOptions{Machine: m, FirstValues: first, Allowed: map[string]actuators.Limits{"test": {}}})
	for _, w := range writes {
		path, value, _ := strings.Cut(w, "=")
		if err := panel.Apply(context.Background(), actuators.Write{Actuator: "test", Path: path, Text: value}); err != nil {
			return err
		}
	}
	return panel.Restore(context.Background())
}

// machine is the real one with steps.
type machine struct {
	actuators.Host
	step func(string)
}

func (m machine) Write(ctx context.Context, w actuators.Write) error {
	return m.done(m.Host.Write(ctx, w), "written", w)
}

func (m machine) PutBack(ctx context.Context, w actuators.Write) error {
	return m.done(m.Host.PutBack(ctx, w), "put back", w)
}

func (m machine) done(err error, what string, w actuators.Write) error {
	if err == nil {
		m.step(what + " " + filepath.Base(w.Path))
	}
	return err
}
