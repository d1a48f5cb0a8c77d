package testday

import "context"

// JobLink is where the jobs of a day and the beats of its runner meet. Its methods return
// at once, but for Beat, and any goroutine may call them.
type JobLink interface {
	// Seen is the runner that is there. It is nil for none: none came, it said that it
	// leaves, or was not heard of for 5 s.
	Seen() *RunnerSeen
	// Start hands a job to the runner. done takes its end once, and has room for it: also
	// where the job was ended, where its runner was lost or left, and where it never
	// began; then Failure says so. It fails where no runner is there, and while another
	// job is out.
	Start(j Job) (done <-chan JobDone, err error)
	// End has the runner end a job, whatever becomes of it: why is said in its Failure. A
	// job that is not out (any more) is nothing to end. After a few seconds done takes its
	// end also where the runner does not answer.
	End(job, why string)
	// Beat is RunnerBeat of HandsOffAgent. A runner that carries out a job which is not
	// out, as of an agent that was killed, is told to end it.
	Beat(ctx context.Context, b Beat) (Order, error)
}
