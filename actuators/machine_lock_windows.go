package actuators

import (
	"errors"
	"fmt"

	"golang.org/x/sys/windows"
)

// lockName is known in all sessions, the service's too.
const lockName = `Global\sweepd-actuators`

// lockMachine makes an object that only one process makes: it lasts as long as somebody
// has it open. What another user made, this one may not open.
func lockMachine(string) (*machineLock, error) {
	name, err := windows.UTF16PtrFromString(lockName)
	if err != nil {
		return nil, err
	}
	h, err := windows.CreateMutex(nil, false, name)
	switch {
	case err == nil:
		return &machineLock{func() error { return windows.CloseHandle(h) }}, nil
	case errors.Is(err, windows.ERROR_ALREADY_EXISTS):
		_ = windows.CloseHandle(h)
		return nil, &SetElsewhereError{}
	case errors.Is(err, windows.ERROR_ACCESS_DENIED):
		return nil, &SetElsewhereError{}
	}
	return nil, fmt.Errorf("lock this machine for setting: %w", err)
}
