package actuators

import "context"

// OnPanic, deferred at the top of a goroutine, calls restore where the goroutine panics,
// and lets the panic take its course then: what was set is put back before the process
// dies. It does nothing where there is no panic.
//
//	defer actuators.OnPanic(panel.Restore)
func OnPanic(restore func(context.Context) error) {
	if r := recover(); r != nil {
		_ = restore(context.Background()) // nobody is left to hear of it; the next start tries again
		panic(r)
	}
}
