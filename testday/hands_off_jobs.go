package testday

import "context"

// JobLink is where the jobs of a day and the beats of its runner meet; *RunnerLink is one.
// Any goroutine may call its methods, and only Beat and Carry take time.
type JobLink interface {
	// Runner is the runner that is there. It is nil for none: none came, it said that it
	// leaves, or was not heard of for 5 s.
	Runner() *RunnerSeen
	// Changed is closed when a runner next comes or goes.
	Changed() <-chan struct{}
	// Carry has the runner carry out a job and returns when that has ended. begun is called
	// when the command was started. The end of ctx has the job ended; Carry returns within
	// 10 s then. A *RunnerLostError says that no runner is there, or that it went silent.
	Carry(ctx context.Context, j Job, begun func()) (JobDone, error)
	// Beat is RunnerBeat of HandsOffAgent. A runner that carries out a job which is not
	// out, as of an agent that was killed, is told to end it.
	Beat(ctx context.Context, b Beat) (Order, error)
}
