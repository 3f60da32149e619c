package readiness

import (
	"bytes"
	"encoding/json"
	"strconv"
)

// Loose finds what evidence refers to without its being there: a record that a correction, dispute or settlement names, a task
// or a step that the catalogue does not have. That is no fault, since evidence may be a part of more, or older than the
// catalogue; but it has no effect on any verdict, and a slip of the pen looks the same. Each kind and name comes once, at its
// first line, with the number of further lines. lines are those of the records, as [ReadEvidenceLines] gives them.
func Loose(c *Catalogue, evidence []Record, lines []int) []InputError {
	l := loose{more: map[string]int{}}
	known := map[string]bool{}
	for i := range evidence {
		known[evidence[i].ID] = true
		if evidence[i].Type == "correction" {
			var inner struct {
				ID string `json:"id"`
			}
			if json.Unmarshal(evidence[i].Record, &inner) == nil {
				known[inner.ID] = true
			}
		}
	}
	facts := map[string]*taskFacts{}
	for _, t := range c.Tasks {
		facts[t.Task] = newTaskFacts(t)
	}
	for i := range evidence {
		rec := &evidence[i]
		at := lines[i]
		if rec.Corrects != "" && !known[rec.Corrects] {
			l.add(at, "corrects", "input_no_such_record", "value", rec.Corrects)
		}
		if rec.Disputes != "" && !known[rec.Disputes] {
			l.add(at, "disputes", "input_no_such_record", "value", rec.Disputes)
		}
		l.task(facts, at, "", rec)
		if rec.Type == "correction" && !bytes.Equal(bytes.TrimSpace(rec.Record), []byte("null")) {
			if inner, faults := ReadRecord(rec.Record); len(faults) == 0 {
				l.task(facts, at, "record.", &inner)
			}
		}
	}
	for i := range l.all {
		l.all[i].Args["more"] = strconv.Itoa(l.more[l.keys[i]])
	}
	return l.all
}

type loose struct {
	all  []InputError
	keys []string
	more map[string]int // by key: further lines
}

func (l *loose) task(facts map[string]*taskFacts, line int, path string, rec *Record) {
	if rec.Task != "" && facts[rec.Task] == nil {
		l.add(line, path+"task", "input_no_such_task", "value", rec.Task)
	}
	for i, a := range rec.Answers {
		if facts[a.Task] == nil {
			l.add(line, path+"answers["+strconv.Itoa(i)+"].task", "input_no_such_task", "value", a.Task)
		}
	}
	if f := facts[rec.Task]; f != nil {
		for i, s := range rec.Steps {
			if _, is := f.stepOf(s.Step); !is {
				l.add(line, path+"steps["+strconv.Itoa(i)+"].step", "input_no_such_step", "value", s.Step, "task", rec.Task)
			}
		}
	}
}

func (l *loose) add(line int, field, code string, args ...string) {
	key := code
	for _, a := range args {
		key += "\x00" + a
	}
	if _, again := l.more[key]; again {
		l.more[key]++
		return
	}
	l.more[key] = 0
	l.keys = append(l.keys, key)
	l.all = append(l.all, InputError{Line: line, Field: field, Code: code, Args: arguments(args...)})
}
