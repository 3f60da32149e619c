package acts

import (
	"context"
	"encoding/base64"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"brakewright/readiness"
	"brakewright/store"
	"brakewright/store/ledger"
)

// reach is the site that an entry about a task is made for: the site of the work, else "" for somebody appointed at
// all sites, else the site of the appointment that gives the authority.
func reach(actor *store.Person, task, site, date string) string {
	if site != "" {
		return site
	}
	for _, a := range actor.Appointments {
		if a.Task == task && a.Holds(date) {
			if a.Site == "" {
				return ""
			}
			site = a.Site
		}
	}
	return site
}

// signing is one job on its way to be signed.
type signing struct {
	id         string // of the entry, "" mints one
	job        *store.Job
	apprentice *store.Person
	sheet      *JobSheet
	at         place
	late       bool
	paper      bool     // takes a second signature
	photos     []string // in base64, in the sheet's order
	decide     bool     // a critical error of somebody who is cleared
	kept       bool     // and the clearance is kept
}

func (s *Service) sign(ctx context.Context, actor *store.Person, r SignRequest) ([]store.Receipt, error) {
	out, err := s.signOnce(ctx, actor, r)
	if x, ok := AsRefusal(err); ok && (x.Code == "id_taken" || x.Code == "rule_"+ledger.JobSignedOnce) {
		// An equal request, or another device, was a moment faster: look again.
		return s.signOnce(ctx, actor, r)
	}
	return out, err
}

func (s *Service) signOnce(ctx context.Context, actor *store.Person, r SignRequest) ([]store.Receipt, error) {
	if len(r.Jobs) == 0 {
		return nil, wrong("jobs", "nothing_chosen")
	}
	if len(r.IDs) > 0 && len(r.IDs) != len(r.Jobs) {
		return nil, wrong("ids", "ids_and_jobs_differ")
	}
	out := make([]store.Receipt, len(r.Jobs))
	var todo []*signing
	var place []int // in out
	for i, job := range r.Jobs {
		if slices.Contains(r.Jobs[:i], job) {
			return nil, wrong("jobs", "job_twice")
		}
		id := ""
		if len(r.IDs) > 0 {
			id = r.IDs[i]
		}
		g, receipt, err := s.toSign(ctx, actor, id, job)
		if err != nil {
			return nil, err
		}
		if g == nil {
			out[i] = receipt
			continue
		}
		todo, place = append(todo, g), append(place, i)
	}
	if len(todo) == 0 {
		return out, nil
	}
	var second *store.Person
	for _, g := range todo {
		if g.decide && r.Decision == nil {
			return nil, wrong("decision", "decision_needed", "name", g.apprentice.Name, "task", g.sheet.Task.Title, "job", g.job.ID)
		}
		if g.decide {
			if _, err := reason("decision_reason", r.Decision.Reason); err != nil {
				return nil, err
			}
		}
		if (g.late || g.paper) && (r.Late == nil || r.Late.SecondLogin == "") {
			code := "late_second_needed"
			if !g.late {
				code = "paper_second_needed"
			}
			return nil, wrong("late", code, "name", g.apprentice.Name, "date", g.happenedOn())
		}
		if g.late || g.paper {
			if _, err := reason("late_reason", r.Late.Reason); err != nil {
				return nil, err
			}
			var err error
			if second, err = s.secondPerson(ctx, actor, g.apprentice, r.Late.SecondLogin, g.job.Task, g.at); err != nil {
				return nil, err
			}
		}
	}
	subs, signs, err := s.signOffs(actor, todo, r)
	if err != nil {
		return nil, err
	}
	signer, err := s.unlock(ctx, actor, r.Passphrase, "passphrase")
	if err != nil {
		return nil, err
	}
	var also *ledger.Signer
	if second != nil {
		if also, err = s.unlock(ctx, second, r.Late.SecondPassphrase, "second_passphrase"); err != nil {
			return nil, err
		}
	}
	for i, sub := range subs {
		switch signs[i] {
		case bySecond:
			if err := sub.Sign(signer); err != nil {
				return nil, err
			}
			if err := sub.Sign(also); err != nil {
				return nil, err
			}
		case byActor:
			if err := sub.Sign(signer); err != nil {
				return nil, err
			}
		}
	}
	receipts, err := s.submitAll(ctx, subs...)
	if err != nil {
		return nil, err
	}
	n := 0
	for i, sub := range subs {
		if sub.Body.Type == ledger.SignOff {
			out[place[n]] = receipts[i]
			n++
		}
	}
	return out, nil
}

// who signs an entry
const (
	byNobody = iota
	byActor
	bySecond // the actor and the second person
)

// toSign checks that a job can be signed by the actor now. A job that the actor signed before answers its receipt.
func (s *Service) toSign(ctx context.Context, actor *store.Person, id, job string) (*signing, store.Receipt, error) {
	none := store.Receipt{}
	if err := checkID(id); err != nil {
		return nil, none, err
	}
	j, apprentice, err := s.theJob(ctx, job)
	if err != nil {
		return nil, none, err
	}
	if err := s.mayWatch(ctx, actor, SignJob, j, apprentice); err != nil {
		return nil, none, err
	}
	if j.SignOff != "" {
		e, err := s.Store.Entry(ctx, j.SignOff)
		if err != nil {
			return nil, none, err
		}
		if e.Entry.Body.Actor != actor.ID || id != "" && id != j.SignOff {
			return nil, none, conflict("job_signed")
		}
		return nil, store.Receipt{ID: j.SignOff, Index: e.Index}, nil
	}
	if err := openJob(j); err != nil {
		return nil, none, err
	}
	if j.Supervisor != actor.ID {
		return nil, none, conflict("not_watching")
	}
	taps, err := s.Store.Taps(ctx, job)
	if err != nil {
		return nil, none, err
	}
	g := &signing{id: id, job: j, apprentice: apprentice}
	if g.sheet, err = s.sheet(ctx, j, apprentice, taps); err != nil {
		return nil, none, err
	}
	if g.sheet.Outcome == "" {
		return nil, none, conflict("job_not_finished")
	}
	if g.sheet.Outcome == finished && len(g.sheet.Missing) > 0 {
		return nil, none, missingSteps(g.sheet)
	}
	if g.at, err = s.placeOf(ctx, j.Site); err != nil {
		return nil, none, err
	}
	g.at.site = reach(actor, j.Task, j.Site, g.at.date)
	f, err := s.frame(ctx)
	if err != nil {
		return nil, none, err
	}
	g.paper = !j.PaperEnd.IsZero()
	if g.paper && len(g.sheet.Photos) == 0 {
		return nil, none, wrong("photo", "paper_photo_needed")
	}
	for _, t := range g.sheet.Photos {
		b, err := s.Store.Photo(ctx, j.ID, t.ID)
		if err != nil {
			return nil, none, missing(err, "photograph")
		}
		g.photos = append(g.photos, base64.StdEncoding.EncodeToString(b))
	}
	g.late = g.happenedOn() < addDays(g.at.date, -f.policy.BackdatingDays)
	if len(g.sheet.criticalErrors()) > 0 {
		if g.decide, err = s.isCleared(ctx, f, apprentice, j.Task); err != nil {
			return nil, none, err
		}
	}
	return g, none, nil
}

func (g *signing) happenedOn() string {
	d, err := ledger.Date(g.sheet.outcomeAt, g.at.zone)
	if err != nil {
		return g.at.date
	}
	return d
}

// isCleared says whether an apprentice is cleared for a task today.
func (s *Service) isCleared(ctx context.Context, f *frame, apprentice *store.Person, task string) (bool, error) {
	today, err := s.today(ctx)
	if err != nil {
		return false, err
	}
	vs, err := s.verdicts(ctx, f, apprentice.ID, today)
	if err != nil {
		return false, err
	}
	v, _ := verdictOf(vs, task)
	return v.Standing == readiness.Cleared, nil
}

// NeedsDecision says whether signing this job asks for a [CriticalDecision].
func (s *Service) NeedsDecision(ctx context.Context, actor *store.Person, job string) (bool, error) {
	sh, err := s.jobSheet(ctx, actor, job)
	if err != nil || len(sh.criticalErrors()) == 0 {
		return false, err
	}
	f, err := s.frame(ctx)
	if err != nil {
		return false, err
	}
	return s.isCleared(ctx, f, sh.Apprentice, sh.Job.Task)
}

// secondPerson is who signs besides the actor: somebody else, with authority. An unknown log-in name and somebody without
// authority get the same answer.
func (s *Service) secondPerson(ctx context.Context, actor, apprentice *store.Person, login, task string, at place) (*store.Person, error) {
	no := wrong("second_login", "second_not_allowed")
	p, err := s.Store.PersonByLogin(ctx, foldLogin(login))
	if isNotFound(err) {
		return nil, no
	}
	if err != nil {
		return nil, err
	}
	if p.ID == actor.ID {
		return nil, wrong("second_login", "second_is_first")
	}
	if May(p, SecondSignature, Target{Person: apprentice, Task: task, Site: at.site, Date: at.date}) != nil {
		return nil, no
	}
	return p, nil
}

// signOffs builds the entries of all jobs, and of what was decided on critical errors, in the order they go in.
func (s *Service) signOffs(actor *store.Person, todo []*signing, r SignRequest) ([]*ledger.Submission, []int, error) {
	var subs []*ledger.Submission
	var signs []int
	add := func(sub *ledger.Submission, who int) { subs, signs = append(subs, sub), append(signs, who) }
	for _, g := range todo {
		var reasons []string
		who := byActor
		if g.late || g.paper {
			why, err := reason("late_reason", r.Late.Reason)
			if err != nil {
				return nil, nil, err
			}
			reasons, who = append(reasons, why), bySecond
		}
		why := ""
		if g.decide {
			var err error
			if why, err = reason("decision_reason", r.Decision.Reason); err != nil {
				return nil, nil, err
			}
			if g.kept = !r.Decision.StandDown; g.kept {
				reasons = append(reasons, decision{why: why}.sayKept())
			}
		}
		sub, err := s.signOff(actor, g, strings.Join(reasons, "\n"))
		if err != nil {
			return nil, nil, err
		}
		add(sub, who)
		if !g.decide || !r.Decision.StandDown {
			continue
		}
		ordered, err := s.entry(s.head("", ledger.StandDownOrdered, actor.ID, g.apprentice.ID, g.at),
			ledger.StandDownPayload{Task: g.job.Task}, map[string]string{"reason": why}, nil)
		if err != nil {
			return nil, nil, err
		}
		add(ordered, byNobody)
		signed, err := s.entry(s.head("", ledger.StandDownSigned, actor.ID, g.apprentice.ID, g.at),
			ledger.StandDownSignedPayload{StandDown: ordered.Body.ID}, nil, nil)
		if err != nil {
			return nil, nil, err
		}
		add(signed, byActor)
	}
	return subs, signs, nil
}

// How lines of the personal field what_happened/STEP begin that tell of something else than a critical error.
const (
	SentBack = "Sent back: "           // why a hold point was
	PutRight = "Found and put right: " // an own error
)

// Happened are the lines of what happened at a step that begin with [SentBack] or [PutRight], without that beginning; with
// "" those that tell of a critical error.
func Happened(text, begins string) []string {
	var out []string
	for _, l := range strings.Split(text, "\n") {
		rest, own := strings.CutPrefix(l, begins)
		if begins == "" {
			own = !strings.HasPrefix(l, SentBack) && !strings.HasPrefix(l, PutRight)
		}
		if own && rest != "" {
			out = append(out, rest)
		}
	}
	return out
}

// signOff builds the entry of one job: the whole sheet, what was not tapped as not reached.
func (s *Service) signOff(actor *store.Person, g *signing, why string) (*ledger.Submission, error) {
	sh, j := g.sheet, g.job
	p := ledger.SignOffPayload{
		Job: j.ID, Task: j.Task, Programme: j.Programme, Difficulty: sh.Difficulty, Setting: j.Setting,
		Vehicle: j.Vehicle, Layout: sh.Vehicle.Layout, Bay: j.Bay, Outcome: sh.Outcome,
		Started: j.StartedAt.UnixMilli(), Finished: sh.outcomeAt, Supervisors: sh.Supervisors,
		Steps: []ledger.StepDone{}, NearMiss: sh.NearMiss, Number: j.Number, Pauses: sh.Pauses, Paper: g.paper, Parts: sh.Parts, Fluid: sh.Fluid, Kept: g.kept,
	}
	personal := map[string]string{"car": string(j.Car), "work_order": j.WorkOrder, "notes": strings.Join(sh.Notes, "\n"), "reason": why}
	happened := map[string][]string{}
	sh.steps(func(st *SheetStep) {
		done := ledger.StepDone{Step: st.Key, Result: st.Result, CriticalError: st.CriticalError, SteppedIn: st.SteppedIn, OwnError: st.OwnError, Bulk: st.Bulk, At: st.at}
		if done.Result == "" {
			done.Result = notReached
		}
		p.Steps = append(p.Steps, done)
		if st.WhatHappened != "" {
			happened[st.Key] = append(happened[st.Key], st.WhatHappened)
		}
		if st.OwnErrorWhat != "" {
			happened[st.Key] = append(happened[st.Key], PutRight+st.OwnErrorWhat)
		}
		for _, m := range st.Measures {
			if m.Reading != nil {
				p.Readings = append(p.Readings, ledger.ReadingDone{
					Step: st.Key, Measure: m.Number, Value: m.Reading.Value, Values: m.Reading.Values, Unit: m.Reading.Unit,
					Instrument: m.Reading.Instrument, Calibrated: m.Reading.Calibrated,
					Limit: m.Limit, Verdict: string(m.Verdict),
				})
			}
		}
		for _, h := range st.holds {
			p.Holds = append(p.Holds, ledger.HoldDone{Step: st.Key, Accepted: h.Hold == accepted, By: h.By, At: h.At})
			if h.Hold == sentBack {
				happened[st.Key] = append(happened[st.Key], SentBack+h.Reason)
			}
		}
	})
	for _, o := range sh.Oral {
		p.Oral = append(p.Oral, ledger.OralDone{Question: o.Oral.Question, Text: o.Oral.Text, Satisfactory: o.Oral.Satisfactory, By: o.By, At: o.At})
	}
	for i, t := range sh.Photos {
		field := "photo/" + strconv.Itoa(i+1)
		p.Photos = append(p.Photos, ledger.PhotoDone{Field: field, Step: t.Step, Width: t.Photo.Width, Height: t.Photo.Height, By: t.By, At: t.At})
		personal[field] = g.photos[i]
	}
	for key, what := range happened {
		personal["what_happened/"+key] = strings.Join(what, "\n")
	}
	h := s.head(g.id, ledger.SignOff, actor.ID, j.Apprentice, g.at)
	h.At = sh.outcomeAt
	return s.entry(h, p, personal, nil)
}

// denied is a refusal for want of permission.
func denied(act Act, why string) error {
	return refuse(http.StatusForbidden, "not_allowed", "why", why, "act", string(act))
}
