package acts

import (
	"context"
	"slices"
	"strconv"
	"strings"
	"time"

	"brakewright/curriculum"
	"brakewright/store"
)

// Fact is one line of what will be signed: a code with arguments, said by server/say. Arguments that end in _at are times
// (RFC 3339, UTC); whoever shows them puts them into the programme's zone.
type Fact struct {
	Code string
	Args map[string]string
	Loud bool // an eye should fall on it

	Items  []string // what is counted up in an argument, one by one: steps, readings
	Folded bool     // its items are as one would expect: they may be shown on demand
}

func (s *Service) statement(ctx context.Context, actor *store.Person, job string) ([]Fact, error) {
	sh, err := s.jobSheet(ctx, actor, job)
	if err != nil {
		return nil, err
	}
	return statementOf(sh), nil
}

// facts gathers the lines of a statement.
type facts []Fact

func (f *facts) add(code string, loud bool, args ...string) {
	x := Fact{Code: code, Args: map[string]string{}, Loud: loud}
	for i := 0; i+1 < len(args); i += 2 {
		x.Args[args[i]] = args[i+1]
	}
	*f = append(*f, x)
}

// items gives the last line its items.
func (f *facts) items(list []string, folded bool) {
	last := &(*f)[len(*f)-1]
	last.Items, last.Folded = list, folded
}

func instant(ms int64) string { return time.UnixMilli(ms).UTC().Format(time.RFC3339) }

// statementOf says every fact of the sign-off, as few lines as that takes: who, what, on which car, when; what went
// otherwise, each on a line of its own; then the steps by how they were done, and the readings.
func statementOf(sh *JobSheet) []Fact {
	var f facts
	car := []string{"car", sh.Vehicle.Title, "layout", curriculum.Readable(sh.Vehicle.Layout)}
	f.add("about", false, "apprentice", sh.Apprentice.Name, "task", sh.Task.Title)
	f.add("car_"+sh.Job.Setting, false, car...)
	if sh.Job.WorkOrder != "" {
		f.add("work_order", false, "work_order", sh.Job.WorkOrder)
	}
	if sh.Supervisor != nil {
		f.add("watched_by", false, "name", sh.Supervisor.Name)
	}
	switch started := !sh.Job.StartedAt.IsZero(); {
	case started && sh.Outcome != "":
		f.add("from_to", false, "from_at", instant(sh.Job.StartedAt.UnixMilli()), "to_at", instant(sh.outcomeAt))
	case started:
		f.add("started", false, "from_at", instant(sh.Job.StartedAt.UnixMilli()))
	}
	for _, x := range sh.Pauses {
		f.add("paused", false, "from_at", instant(x.From), "to_at", instant(x.To))
	}
	if !sh.Job.PaperEnd.IsZero() {
		f.add("paper", true, "number", strconv.Itoa(sh.Job.Number))
	}
	outcome := sh.Outcome
	if outcome == "" {
		outcome = "open"
	}
	f.add("outcome_"+outcome, outcome != finished, "difficulty", sh.Difficulty)
	sh.steps(func(st *SheetStep) { f.exceptions(st) })
	if sh.NearMiss {
		f.add("near_miss", true)
	}
	f.steps(sh, true)
	f.steps(sh, false)
	f.readings(sh)
	for _, o := range sh.Oral {
		code := "oral_well"
		if !o.Oral.Satisfactory {
			code = "oral_badly"
		}
		f.add(code, !o.Oral.Satisfactory, "question", o.Oral.Text)
	}
	if sh.Parts != "" {
		f.add("parts", false, "text", sh.Parts)
	}
	if sh.Fluid != "" {
		f.add("fluid", false, "text", sh.Fluid)
	}
	for _, n := range sh.Notes {
		f.add("note", false, "text", n)
	}
	if n := len(sh.Photos); n > 0 {
		f.add("photos", false, "count", strconv.Itoa(n))
	}
	return f
}

// exceptions are what went otherwise at a step.
func (f *facts) exceptions(st *SheetStep) {
	name := st.name()
	if st.CriticalError {
		f.add("critical_error", true, "step", name, "what", st.WhatHappened)
		if st.SteppedIn != "" {
			f.add("stepped_in_"+st.SteppedIn, false)
		}
	}
	if st.OwnError {
		f.add("own_error", false, "step", name, "what", st.OwnErrorWhat)
	}
	for _, h := range st.holds {
		if h.Hold == sentBack {
			f.add("sent_back", true, "step", name, "reason", h.Reason)
		}
	}
}

// done is a group of steps done in the same way.
type done struct {
	result string
	bulk   bool
	names  []string
	count  int
}

// steps groups the steps by how they were done, in the order in which each way came first. single says which: critical
// steps and hold points, or the others. A step that repeats at each wheel is named once, with its wheels.
func (f *facts) steps(sh *JobSheet, single bool) {
	var groups []*done
	wheels := map[string][]string{} // of a group and title, those named so far
	sh.steps(func(st *SheetStep) {
		if (st.Critical || st.HoldPoint) != single {
			return
		}
		result := st.Result
		if result == "" {
			result = notReached
		}
		i := slices.IndexFunc(groups, func(g *done) bool { return g.result == result && g.bulk == st.Bulk })
		if i < 0 {
			groups = append(groups, &done{result: result, bulk: st.Bulk})
			i = len(groups) - 1
		}
		g := groups[i]
		g.count++
		title := strings.TrimRight(st.Title, ".")
		if st.HoldPoint && st.Hold == accepted {
			title += " ✓"
		}
		key := strconv.Itoa(i) + title
		if st.Wheel != "" && wheels[key] != nil {
			wheels[key] = append(wheels[key], st.Wheel)
			g.names[slices.IndexFunc(g.names, func(n string) bool { return strings.HasPrefix(n, title+" (") })] = title + " (" + strings.Join(wheels[key], ", ") + ")"
			return
		}
		if st.Wheel != "" {
			wheels[key] = []string{st.Wheel}
			title += " (" + st.Wheel + ")"
		}
		g.names = append(g.names, title)
	})
	for _, g := range groups {
		code := "steps_" + g.result
		if single {
			code = "single_" + g.result
		} else if g.bulk {
			code = "steps_bulk"
		}
		f.add(code, single && g.result != unaided && g.result != notApplicable, "count", strconv.Itoa(g.count), "steps", strings.Join(g.names, "; "))
		f.items(g.names, g.result == notApplicable || !single && (g.result == unaided || g.result == notReached))
	}
}

// readings says the readings, those out of their limits on lines of their own.
func (f *facts) readings(sh *JobSheet) {
	var within, unjudged []string
	sh.steps(func(st *SheetStep) {
		for _, m := range st.Measures {
			if m.Reading == nil {
				continue
			}
			text := st.name() + " " + strings.TrimSpace(m.Reading.Value+" "+m.Reading.Unit)
			if len(m.Reading.Values) > 0 {
				text += " of " + strings.Join(m.Reading.Values, ", ")
			}
			if m.Limit != "" {
				text += " (" + m.Limit + ")"
			}
			if m.Reading.Instrument != "" {
				text += ", " + m.Reading.Instrument
				if m.Reading.Calibrated != "" {
					text += " calibrated " + dayInWords(m.Reading.Calibrated)
				}
			}
			switch m.Verdict {
			case curriculum.Below, curriculum.Above:
				f.add("reading_"+string(m.Verdict), true, "reading", text)
			case curriculum.Within:
				within = append(within, text)
			default:
				unjudged = append(unjudged, text)
			}
		}
	})
	if len(within) > 0 {
		f.add("readings_within", false, "count", strconv.Itoa(len(within)), "readings", strings.Join(within, "; "))
		f.items(within, true)
	}
	if len(unjudged) > 0 {
		f.add("readings_unjudged", false, "count", strconv.Itoa(len(unjudged)), "readings", strings.Join(unjudged, "; "))
		f.items(unjudged, false)
	}
}

// dayInWords is a date as people read it, "3 Nov 2025".
func dayInWords(date string) string {
	d, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return date
	}
	return d.Format("2 Jan 2006")
}
