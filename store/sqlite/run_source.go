package sqlite

import (
	"context"
	"fmt"
	"iter"

	"sweepd/run"
)

// runSource walks a sequence of runs on a goroutine of its own and prepares them for
// being stored, so that both cost no more time than the slower one.
type runSource struct {
	chunks chan []preparedRun
	cancel context.CancelFunc

	// Once chunks is closed:
	err   error // why there are no more
	given error // err where the sequence gave it
}

// preparedRun is a run with its columns, but for its facts.
type preparedRun struct {
	detail *run.Record
	values []any
}

func newRunSource(ctx context.Context, runs iter.Seq2[*run.Record, error]) *runSource {
	ctx, cancel := context.WithCancel(ctx)
	s := &runSource{chunks: make(chan []preparedRun, 4), cancel: cancel}
	go func() {
		defer close(s.chunks)
		s.err = s.walk(ctx, runs)
	}()
	return s
}

func (s *runSource) walk(ctx context.Context, runs iter.Seq2[*run.Record, error]) error {
	var chunk []preparedRun
	for d, err := range runs {
		if err != nil {
			s.given = err
			return err
		}
		if d.State == run.Recording {
			return fmt.Errorf("run %s is %q: only its own agent can record it", d.ID, run.Recording)
		}
		if err := checkDetail(d); err != nil {
			return err
		}
		if chunk = append(chunk, preparedRun{d, runValues(d, nil)}); len(chunk) == batchRuns {
			if err := s.hand(ctx, chunk); err != nil {
				return err
			}
			chunk = nil
		}
	}
	return s.hand(ctx, chunk)
}

func (s *runSource) hand(ctx context.Context, chunk []preparedRun) error {
	if ctx.Err() != nil { // also while stop takes chunks
		return ctx.Err()
	}
	select {
	case s.chunks <- chunk:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// stop ends the walk, if it still goes, and waits for its end.
func (s *runSource) stop() {
	s.cancel()
	for range s.chunks { // nobody wants them
	}
}
