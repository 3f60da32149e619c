package server

import (
	"context"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"github.com/gorilla/mux"

	"brakewright/curriculum"
	"brakewright/readiness"
	"brakewright/server/acts"
	"brakewright/server/say"
	"brakewright/store"
)

// Pages on which something is done about an entry: countersigned, answered, disputed, settled, corrected, withdrawn,
// reviewed; and earlier training recognised.

func (s *Server) registerContestRoutes(r *mux.Router) {
	s.post(r, "/ledger/{entry}/countersign", s.countersign)
	s.post(r, "/ledger/{entry}/reply", s.reply)
	s.post(r, "/ledger/{entry}/dispute", s.dispute)
	s.post(r, "/ledger/{entry}/settle", s.settle)
	s.post(r, "/ledger/{entry}/withdraw", s.withdrawEntry)
	s.post(r, "/ledger/{entry}/review", s.review)
	s.get(r, "/ledger/{entry}/correct", s.showCorrect)
	s.post(r, "/ledger/{entry}/correct", s.correct)
	s.get(r, "/people/{person}/tasks/{task}/recognise", s.showRecognise)
	s.post(r, "/people/{person}/tasks/{task}/recognise", s.recognise)
}

// entryForms are the fields of the forms on an entry's page.
var entryForms = []string{"reason", "passphrase", "text", "lifts", "verdict", "beside"}

// onEntry does something about an entry and leads back to it; what is refused comes back on its page, in its form.
func (s *Server) onEntry(w http.ResponseWriter, r *http.Request, name, notice string, do func(ctx context.Context, me *store.Person, entry string, f url.Values) error) error {
	if err := form(r); err != nil {
		return err
	}
	entry := mux.Vars(r)["entry"]
	err := do(r.Context(), personFrom(r.Context()), entry, r.PostForm)
	if err == nil {
		return seeOther(w, r, "/ledger/"+entry, notice)
	}
	b, berr := s.base(r, "")
	if berr != nil {
		return berr
	}
	// Several forms stand on the page: fields are named after theirs.
	f := failureOf(err)
	if f.field != "" {
		f.field = name + "-" + f.field
	}
	var fields []string
	for _, x := range entryForms {
		fields = append(fields, name+"-"+x)
	}
	status, err := b.refused(w, f, fields...)
	if err != nil {
		return err
	}
	for k, v := range r.PostForm {
		if k != "passphrase" {
			b.set(name+"-"+k, v...)
		}
	}
	b.set("form", name)
	page, err := s.entryPage(r, b, entry)
	if err != nil {
		return err
	}
	return s.render(w, r, status, page)
}

func (s *Server) countersign(w http.ResponseWriter, r *http.Request) error {
	return s.onEntry(w, r, "countersign", "countersigned", func(ctx context.Context, me *store.Person, entry string, f url.Values) error {
		_, err := s.acts.Countersign(ctx, me, f.Get("id"), entry, f.Get("passphrase"))
		return err
	})
}

func (s *Server) reply(w http.ResponseWriter, r *http.Request) error {
	return s.onEntry(w, r, "reply", "replied", func(ctx context.Context, me *store.Person, entry string, f url.Values) error {
		_, err := s.acts.Reply(ctx, me, f.Get("id"), entry, f.Get("text"))
		return err
	})
}

func (s *Server) dispute(w http.ResponseWriter, r *http.Request) error {
	return s.onEntry(w, r, "dispute", "disputed", func(ctx context.Context, me *store.Person, entry string, f url.Values) error {
		_, err := s.acts.Dispute(ctx, me, f.Get("id"), entry, f.Get("reason"))
		return err
	})
}

// settle: the choice is one of "stands" (or the id of the wording that does) and "falls".
func (s *Server) settle(w http.ResponseWriter, r *http.Request) error {
	return s.onEntry(w, r, "settle", "settled", func(ctx context.Context, me *store.Person, entry string, f url.Values) error {
		q := acts.Settlement{ID: f.Get("id"), Entry: entry, Reason: f.Get("reason"), Passphrase: f.Get("passphrase")}
		switch v := f.Get("verdict"); v {
		case "":
			return failure{status: http.StatusUnprocessableEntity, code: "nothing_chosen", field: "verdict"}
		case "falls":
			q.Upheld = true
		case "stands":
		default:
			q.Stands = v
		}
		_, err := s.acts.Settle(ctx, me, q)
		return err
	})
}

func (s *Server) withdrawEntry(w http.ResponseWriter, r *http.Request) error {
	return s.onEntry(w, r, "withdraw", "corrected", func(ctx context.Context, me *store.Person, entry string, f url.Values) error {
		_, err := s.acts.Correct(ctx, me, acts.Correction{ID: f.Get("id"), Entry: entry, Withdraw: true, Beside: f.Get("beside") != "", Reason: f.Get("reason"), Passphrase: f.Get("passphrase")})
		return err
	})
}

func (s *Server) review(w http.ResponseWriter, r *http.Request) error {
	return s.onEntry(w, r, "review", "reviewed", func(ctx context.Context, me *store.Person, entry string, f url.Values) error {
		_, err := s.acts.ReviewStandDown(ctx, me, f.Get("id"), entry, f.Get("reason"), f.Get("lifts"), f.Get("passphrase"))
		return err
	})
}

// ---- correcting a record ----

// correctPage is a signed record with every fact as a field. Whoever sends it signs a further entry.
type correctPage struct {
	BasePage
	About, Task, Path string
	EntryPath         string
	ID                string
	Steps             []correctStep
	Results           []choice
	Outcomes          []choice
	Difficulties      []choice
	Decide            bool
	Corrected         bool // another correction counts
}

type correctStep struct {
	Key, Title, Field   string
	Critical, HoldPoint bool
	Result              string
	Error               bool
	WhatHappened        string
	Readings            []correctReading
}

type correctReading struct {
	Field, Text, Limit, Value, Unit, Instrument string
}

func (correctPage) template() string { return "correct" }

// choicesOf are the values of a list with their words.
func choicesOf(values []string, words map[string]string) []choice {
	var out []choice
	for _, v := range values {
		out = append(out, choice{v, wordOr(words, v)})
	}
	return out
}

func newCorrectPage(b BasePage, sh *acts.JobSheet, entry string) correctPage {
	b.Title = "Correct a record"
	page := correctPage{BasePage: b, About: personName(sh.Apprentice), Task: sh.Task.Title, Path: "/ledger/" + entry + "/correct", EntryPath: "/ledger/" + entry, ID: newID(),
		Results:      choicesOf([]string{"unaided", "prompted", "taken_over", "not_reached", "not_applicable"}, resultNames),
		Outcomes:     choicesOf([]string{"finished", "rightly_stopped", "stopped_by_supervisor", "interrupted"}, outcomeNames),
		Difficulties: choicesOf([]string{"routine", "usual", "awkward"}, difficultyNames)}
	n := 0
	for _, l := range sh.Lessons {
		for _, st := range l.Steps {
			x := correctStep{Key: st.Key, Title: st.Title, Field: strconv.Itoa(n), Critical: st.Critical, HoldPoint: st.HoldPoint, Result: st.Result, Error: st.CriticalError, WhatHappened: st.WhatHappened}
			if x.Result == "" {
				x.Result = "not_reached"
			}
			if st.Wheel != "" {
				x.Title += " (" + st.Wheel + ")"
			}
			for _, m := range st.Measures {
				r := correctReading{Field: x.Field + "-" + strconv.Itoa(m.Number), Text: m.Text, Limit: m.Limit, Unit: string(m.Unit)}
				if m.Reading != nil {
					r.Value, r.Unit, r.Instrument = m.Reading.Value, m.Reading.Unit, m.Reading.Instrument
				}
				x.Readings = append(x.Readings, r)
			}
			page.Steps = append(page.Steps, x)
			n++
		}
	}
	return page
}

func (s *Server) showCorrect(w http.ResponseWriter, r *http.Request) error {
	return s.correctForm(w, r, nil)
}

func (s *Server) correctForm(w http.ResponseWriter, r *http.Request, problem error) error {
	ctx, entry := r.Context(), mux.Vars(r)["entry"]
	b, err := s.base(r, "")
	if err != nil {
		return err
	}
	sh, err := s.acts.RecordSheet(ctx, personFrom(ctx), entry)
	if err != nil {
		return err
	}
	status := http.StatusOK
	b.set("outcome", sh.Outcome)
	b.set("difficulty", sh.Difficulty)
	b.set("notes", strings.Join(sh.Notes, "\n"))
	if sh.NearMiss {
		b.set("near_miss", "1")
	}
	live, err := s.store.LiveCorrections(ctx, entry)
	if err != nil {
		return err
	}
	page := newCorrectPage(b, sh, entry)
	page.Corrected = len(live) > 0
	if problem != nil {
		if status, err = page.refused(w, problem, "reason", "passphrase", "decision", "decision_reason", "outcome", "difficulty", "notes"); err != nil {
			return err
		}
		f := r.PostForm
		page.ID = f.Get("id")
		page.Decide = f.Get("decide") != "" || failureOf(problem).code == "decision_needed"
		for k, v := range f {
			if !strings.Contains(k, "passphrase") {
				page.set(k, v...)
			}
		}
		if f.Get("near_miss") == "" {
			page.set("near_miss")
		}
		for i := range page.Steps {
			st := &page.Steps[i]
			st.Result, st.Error, st.WhatHappened = f.Get("result-"+st.Field), f.Get("error-"+st.Field) != "", f.Get("what-"+st.Field)
			for k := range st.Readings {
				m := &st.Readings[k]
				m.Value, m.Unit, m.Instrument = f.Get("value-"+m.Field), f.Get("unit-"+m.Field), f.Get("instrument-"+m.Field)
			}
		}
	}
	return s.render(w, r, status, page)
}

// changesFrom are the facts that a form changes, against the sheet as it was.
func changesFrom(f url.Values, was correctPage, sh *acts.JobSheet) acts.RecordChanges {
	var ch acts.RecordChanges
	if v := f.Get("outcome"); v != sh.Outcome {
		ch.Outcome = &v
	}
	if v := f.Get("difficulty"); v != sh.Difficulty {
		ch.Difficulty = &v
	}
	if v := f.Get("near_miss") != ""; v != sh.NearMiss {
		ch.NearMiss = &v
	}
	if v := strings.TrimSpace(strings.ReplaceAll(f.Get("notes"), "\r\n", "\n")); v != strings.Join(sh.Notes, "\n") {
		ch.Notes = &v
	}
	for _, st := range was.Steps {
		now := acts.StepChange{Step: st.Key, Result: f.Get("result-" + st.Field), CriticalError: f.Get("error-"+st.Field) != "", WhatHappened: strings.TrimSpace(f.Get("what-" + st.Field))}
		if !now.CriticalError {
			now.WhatHappened = ""
		}
		if now.Result != st.Result || now.CriticalError != st.Error || now.CriticalError && now.WhatHappened != st.WhatHappened {
			ch.Steps = append(ch.Steps, now)
		}
		for i, m := range st.Readings {
			v := acts.ReadingChange{Step: st.Key, Measure: i + 1, Value: strings.TrimSpace(f.Get("value-" + m.Field)), Unit: f.Get("unit-" + m.Field), Instrument: strings.TrimSpace(f.Get("instrument-" + m.Field))}
			if v.Value != m.Value || v.Value != "" && (v.Unit != m.Unit || v.Instrument != m.Instrument) {
				ch.Readings = append(ch.Readings, v)
			}
		}
	}
	return ch
}

func (s *Server) correct(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	ctx, me, entry, f := r.Context(), personFrom(r.Context()), mux.Vars(r)["entry"], r.PostForm
	sh, err := s.acts.RecordSheet(ctx, me, entry)
	if err != nil {
		return err
	}
	q := acts.Correction{ID: f.Get("id"), Entry: entry, Changes: changesFrom(f, newCorrectPage(BasePage{}, sh, entry), sh), Beside: f.Get("beside") != "", Reason: f.Get("reason"), Passphrase: f.Get("passphrase")}
	if f.Get("decision") != "" {
		q.Decision = &acts.CriticalDecision{StandDown: f.Get("decision") == "stand_down", Reason: f.Get("decision_reason")}
	}
	if q.Changes.Empty() {
		return s.correctForm(w, r, failure{status: http.StatusUnprocessableEntity, code: "nothing_changed"})
	}
	if _, err := s.acts.Correct(ctx, me, q); err != nil {
		return s.correctForm(w, r, err)
	}
	return seeOther(w, r, "/ledger/"+entry, "corrected")
}

// ---- earlier training ----

// recognisePage says what earlier training stands for.
type recognisePage struct {
	BasePage
	Apprentice, Task, Path, Back, ID string
	Gates                            []gateLine
}

func (recognisePage) template() string { return "recognise" }

func newRecognisePage(b BasePage, p *curriculum.Programme, who *store.Person, t *curriculum.Task, v readiness.Verdict) recognisePage {
	b.Title = "Recognise earlier training: " + personName(who)
	back := taskPath(who.ID, t.ID)
	page := recognisePage{BasePage: b, Apprentice: personName(who), Task: t.Title, Path: back + "/recognise", Back: back, ID: newID()}
	for _, g := range v.Gates {
		if contains(acts.RecognisableGates, g.Gate) {
			page.Gates = append(page.Gates, gateLine{Gate: g.Gate, Name: say.GateName(g.Gate), Text: gateText(p, b.clock, g), OK: g.OK})
		}
	}
	return page
}

func (s *Server) showRecognise(w http.ResponseWriter, r *http.Request) error {
	return s.recogniseForm(w, r, nil)
}

func (s *Server) recogniseForm(w http.ResponseWriter, r *http.Request, problem error) error {
	ctx, me, v := r.Context(), personFrom(r.Context()), mux.Vars(r)
	b, err := s.base(r, "")
	if err != nil {
		return err
	}
	verdicts, err := s.acts.Standings(ctx, me, v["person"])
	if err != nil {
		return err
	}
	p, err := s.acts.Programme(ctx)
	if err != nil {
		return err
	}
	t := p.Task(v["task"])
	if t == nil {
		return failure{status: http.StatusNotFound, code: "page_not_found"}
	}
	who, err := s.store.Person(ctx, v["person"])
	if err != nil {
		return err
	}
	if err := s.acts.May(ctx, me, acts.Recognise, acts.Target{Person: who, Task: t.ID}); err != nil {
		return err
	}
	var verdict readiness.Verdict
	for _, x := range verdicts {
		if x.Task == t.ID {
			verdict = x
		}
	}
	status := http.StatusOK
	if problem != nil {
		if status, err = b.refused(w, problem, "stands_for", "jobs", "reason", "passphrase", "second_login", "second_passphrase"); err != nil {
			return err
		}
		for _, k := range []string{"stands_for", "jobs", "reason", "second_login"} {
			b.set(k, r.PostForm[k]...)
		}
	}
	page := newRecognisePage(b, p, who, t, verdict)
	if problem != nil {
		page.ID = r.PostForm.Get("id")
	}
	return s.render(w, r, status, page)
}

func (s *Server) recognise(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	v, f := mux.Vars(r), r.PostForm
	jobs := 0
	if n := strings.TrimSpace(f.Get("jobs")); n != "" {
		var err error
		if jobs, err = strconv.Atoi(n); err != nil {
			return s.recogniseForm(w, r, failure{status: http.StatusUnprocessableEntity, code: "bad_number", field: "jobs"})
		}
	}
	q := acts.Recognition{ID: f.Get("id"), Apprentice: v["person"], Task: v["task"], StandsFor: f["stands_for"], Jobs: jobs, Reason: f.Get("reason"), Passphrase: f.Get("passphrase"),
		SecondLogin: strings.TrimSpace(f.Get("second_login")), SecondPassphrase: f.Get("second_passphrase")}
	if _, err := s.acts.Recognise(r.Context(), personFrom(r.Context()), q); err != nil {
		return s.recogniseForm(w, r, err)
	}
	return seeOther(w, r, taskPath(v["person"], v["task"]), "recognised")
}
