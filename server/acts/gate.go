package acts

import (
	"context"
	"errors"
	"net/http"
	"runtime"
	"time"

	"golang.org/x/sync/semaphore"
)

// longestWait is how long anybody waits in the queue of a [gate] before being told to come again.
const longestWait = 10 * time.Second

// gate lets at most GOMAXPROCS costly computations (argon2id) run at a time, first come, first served.
type gate struct {
	slots *semaphore.Weighted
	size  int
}

func newGate() *gate {
	n := runtime.GOMAXPROCS(0)
	return &gate{slots: semaphore.NewWeighted(int64(n)), size: n}
}

// do runs f in its turn. Beyond the longest wait it is a refusal busy with RetryAfter; f has not run then.
func (g *gate) do(ctx context.Context, f func() error) error {
	waiting, cancel := context.WithTimeout(ctx, longestWait)
	defer cancel()
	if err := g.slots.Acquire(waiting, 1); err != nil {
		if ctx.Err() == nil && errors.Is(err, context.DeadlineExceeded) {
			r := refuse(http.StatusServiceUnavailable, "busy")
			r.RetryAfter = longestWait
			return r
		}
		return err
	}
	defer g.slots.Release(1)
	return f()
}
