package acts

import (
	"context"
	"sync"

	"brakewright/readiness"
	"brakewright/store"
)

// How strict supervisors are, from everybody's jobs together as they stand now. That concerns the supervisor and the
// coordinator alone: no standing, reason or outlook of an apprentice says it.

// SupervisorSeverity is how one supervisor compares.
type SupervisorSeverity struct {
	Person *store.Person
	readiness.Severity
	Alone bool // nobody else is in the linked set: there is nobody to compare with
}

// comparison keeps the latest comparison, made from so many entries under these parameters: it is worked out from everything.
type comparison struct {
	mu         sync.Mutex
	entries    int64
	parameters string
	frame      string
	all        []readiness.Severity
}

// severities are those of the supervisors whom the actor may see, by linked set, in the order of [readiness.Severities]. one
// narrows to one person.
func (s *Service) severities(ctx context.Context, actor *store.Person, one string) ([]SupervisorSeverity, error) {
	today, err := s.today(ctx)
	if err != nil {
		return nil, err
	}
	target := Target{Date: today}
	if one != "" {
		if target.Person, err = s.person(ctx, one); err != nil {
			return nil, err
		}
	} else if !Holds(actor, Coordinator, today) {
		target.Person = actor // a supervisor's list is themselves
	}
	if err := May(actor, SeeSeverity, target); err != nil {
		return nil, err
	}
	all, err := s.compared(ctx)
	if err != nil {
		return nil, err
	}
	set := map[string]int{}
	for _, x := range all {
		set[x.Set]++
	}
	var out []SupervisorSeverity
	for _, x := range all {
		if one != "" && x.Supervisor != one {
			continue
		}
		p, err := s.person(ctx, x.Supervisor)
		if err != nil {
			return nil, err
		}
		if May(actor, SeeSeverity, Target{Person: p, Date: today}) == nil {
			out = append(out, SupervisorSeverity{p, x, set[x.Set] == 1})
		}
	}
	return out, nil
}

// compared compares all supervisors, anew where entries, programme or parameters have changed.
func (s *Service) compared(ctx context.Context) ([]readiness.Severity, error) {
	f, err := s.frame(ctx)
	if err != nil {
		return nil, err
	}
	info, err := s.Store.Info(ctx)
	if err != nil {
		return nil, err
	}
	c := &s.compare
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.frame == f.key && c.parameters == f.hash && c.entries == info.Entries {
		return c.all, nil
	}
	evidence, err := s.Store.Evidence(ctx, "")
	if err != nil {
		return nil, err
	}
	c.all = readiness.Severities(&f.catalogue, evidence, f.parameters)
	c.frame, c.parameters, c.entries = f.key, f.hash, info.Entries
	return c.all, nil
}
