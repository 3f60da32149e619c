package readiness

import (
	"cmp"
	"maps"
	"slices"
	"strings"
)

// What reasons rest on: the ids of records, the oldest first. A record without an id cannot be named. Where any few of
// many would do, the latest are named.

// ids of records by date, each once.
func ids(lists ...[]*Record) []string {
	var out []string
	seen := map[string]bool{}
	for _, rec := range byDate(slices.Concat(lists...)) {
		if rec.ID != "" && !seen[rec.ID] {
			seen[rec.ID] = true
			out = append(out, rec.ID)
		}
	}
	return out
}

// byDate sorts records by date, then by id: records that say the same stand in the same order whatever that of the input.
func byDate(recs []*Record) []*Record {
	recs = slices.Clone(recs)
	slices.SortStableFunc(recs, func(a, b *Record) int { return cmp.Or(cmp.Compare(dateOf(a), dateOf(b)), cmp.Compare(a.ID, b.ID)) })
	return recs
}

// latest are the last n by date.
func latest(recs []*Record, n int) []*Record {
	recs = byDate(recs)
	return recs[max(0, len(recs)-max(0, n)):]
}

// latestOf is for each name the last record that has it.
func latestOf(recs []*Record, name func(*Record) string) []*Record {
	last := map[string]*Record{}
	for _, rec := range byDate(recs) {
		if n := name(rec); n != "" {
			last[n] = rec
		}
	}
	return slices.Collect(maps.Values(last))
}

// where are the records of which something holds.
func where(recs []*Record, holds func(*Record) bool) []*Record {
	var out []*Record
	for _, rec := range recs {
		if holds(rec) {
			out = append(out, rec)
		}
	}
	return out
}

// gateRests are the records on which a gate rests.
func (in *inputs) gateRests(g Gate) []*Record {
	t := in.history()
	if strings.HasSuffix(g.Why, "_not_asked") {
		return nil
	}
	if g.Why == "recognised" {
		return where(t.recognitions, func(r *Record) bool { return slices.Contains(r.StandsFor, g.Gate) && r.Date == g.Args["date"] })
	}
	counted := t.counted()
	switch g.Gate {
	case "induction":
		if in.policy.Induction == "" || in.policy.Induction == in.facts.Task {
			return nil
		}
		other := in.of(in.policy.Induction)
		decided := slices.Concat(latest(other.history().clearances, 1), other.openStandDowns())
		if len(decided) > 0 || !g.OK {
			return decided
		}
		return other.allRest() // done without a clearance: by its own gates
	case "reading":
		var read []*Record
		for _, l := range in.facts.Lessons {
			of := in.person.readings[l.Lesson]
			holding := where(of, l.holds)
			if len(holding) == 0 {
				holding = of
			}
			read = append(read, latest(holding, 1)...)
		}
		return read
	case "theory_test":
		return where(t.tests, func(r *Record) bool { return r.Date == g.Args["date"] })
	case "critical_steps":
		shows := map[string]*Record{} // the latest job in which a step was seen unaided
		for _, job := range byDate(counted) {
			for step := range in.facts.seenUnaided(job) {
				shows[step] = job
			}
		}
		return slices.Collect(maps.Values(shows))
	case "jobs":
		rests := latest(counted, in.asks.Jobs)
		for _, r := range t.recognitions {
			if r.Jobs > 0 {
				rests = append(rests, r)
			}
		}
		return rests
	case "supervisors":
		return latestOf(counted, func(r *Record) string { return r.Supervisor })
	case "layouts":
		return latestOf(counted, func(r *Record) string { return r.Layout })
	case "recency":
		return where(slices.Concat(counted, t.recognitions), func(r *Record) bool { return r.Date == g.Args["date"] })
	case "critical_error":
		return in.failureRests(g.Args["date"])
	case "prerequisites":
		var clearances []*Record
		for _, task := range in.facts.Prerequisites {
			other := in.of(task)
			clearances = slices.Concat(clearances, latest(other.history().clearances, 1), other.openStandDowns())
		}
		return clearances
	}
	return nil
}

// allRest are the records on which all gates of a task rest.
func (in *inputs) allRest() []*Record {
	var all []*Record
	for _, g := range judgeGates(in) {
		all = append(all, in.gateRests(g)...)
	}
	return all
}

// failureRests are the critical failures of a day and the clean jobs since.
func (in *inputs) failureRests(date string) []*Record {
	if date == "" {
		return nil
	}
	t := in.history()
	return where(slices.Concat(t.jobs, t.spotChecks, t.returns), func(r *Record) bool {
		switch {
		case r.Date == date:
			return isFailure(r)
		case r.Type == "job":
			return r.Date > date && in.facts.clean(r)
		}
		return false
	})
}

// isFailure says whether a record is a critical failure (see failure).
func isFailure(r *Record) bool {
	return r.Type == "job" && hasCriticalError(r) || r.Type == "spot_check" && r.Finding == "unsafe" || r.Type == "return" && r.Finding == "our_work"
}
