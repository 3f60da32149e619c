package store

import (
	"database/sql"
	"encoding/json"
	"errors"
	"strconv"

	"brakewright/readiness"
	"brakewright/store/ledger"
)

// What readiness reads: one record (DEVELOPERS.md, "Contracts") or two for each entry that says something of an apprentice.

// answersID is the id of the record of answers that a theory test makes beside its own: no two records have one id.
func answersID(entry string) string { return entry + "/answers" }

// record writes one evidence record; its id, and where absent its apprentice and date, are the entry's. Part 1 is about
// the answers of a theory test; further parts are what the entry brings about besides.
func (p *projection) record(part int, r readiness.Record) error {
	switch part {
	case 0:
		r.ID = p.body.ID
	case 1:
		r.ID = answersID(p.body.ID)
	default:
		r.ID = p.body.ID + "/" + strconv.Itoa(part)
	}
	if r.Apprentice == "" {
		r.Apprentice = p.body.Subject
	}
	return p.write(part, r)
}

// write writes an evidence record that has its id and apprentice.
func (p *projection) write(part int, r readiness.Record) error {
	if r.Date == "" && r.Type != "leave" {
		date, err := p.body.Date()
		if err != nil {
			return err
		}
		r.Date = date
	}
	b, err := json.Marshal(r)
	if err != nil {
		return err
	}
	return p.run(`INSERT INTO evidence (idx, part, entry_id, apprentice, type, record) VALUES ($1, $2, $3, $4, $5, $6)`,
		p.index, part, p.body.ID, r.Apprentice, r.Type, string(b))
}

func (p *projection) reading(x *ledger.ReadingPayload) error {
	return p.record(0, readiness.Record{Type: "reading", Lesson: x.Lesson, Edition: x.Edition})
}

func (p *projection) leave(x *ledger.LeavePayload) error {
	err := p.run(`INSERT INTO leaves (entry_id, idx, person_id, from_date, to_date, withdrawn_by) VALUES ($1, $2, $3, $4, $5, '')`,
		p.body.ID, p.index, p.body.Subject, x.From, x.To)
	if err != nil {
		return err
	}
	return p.record(0, readiness.Record{Type: "leave", From: x.From, To: x.To})
}

func (p *projection) testIssued(x *ledger.TestIssuedPayload) error {
	form := x.Content["form"]
	edition, err := p.formProgramme(form)
	if err != nil {
		return err
	}
	return p.run(`
		INSERT INTO tests (id, idx, apprentice, task, blueprint, form, programme, issued_at, handed_in, handed_in_at, watched_by, answers, marks, percent, passed)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, '', 0, '', '', '', 0, 0)`,
		p.body.ID, p.index, p.body.Subject, x.Task, x.Blueprint, form, edition, p.body.HappenedAt)
}

// formProgramme is the programme edition that a form says it was made from; where it says none, the one in use.
func (p *projection) formProgramme(form string) (string, error) {
	b, err := p.content(form)
	if err != nil {
		return "", err
	}
	var f struct {
		Programme string `json:"programme_edition"`
	}
	if json.Unmarshal(b, &f) == nil && ledger.ValidHash(f.Programme) {
		return f.Programme, nil
	}
	var edition string
	err = p.t.row(`SELECT edition FROM adoptions ORDER BY idx DESC LIMIT 1`).Scan(&edition)
	if errors.Is(err, sql.ErrNoRows) {
		return "", nil
	}
	return edition, err
}

func (p *projection) testHandedIn(x *ledger.TestHandedInPayload) error {
	err := p.run(`
		UPDATE tests SET handed_in = $1, handed_in_at = $2, watched_by = $3, answers = $4, marks = $5, percent = $6, passed = $7, programme = $8 WHERE id = $9`,
		p.body.ID, p.body.HappenedAt, x.WatchedBy, x.Content["answers"], x.Content["marks"], x.Percent, x.Passed, x.Programme, x.Test)
	if err != nil {
		return err
	}
	err = p.record(0, readiness.Record{Type: "theory_test", Task: x.Task, Edition: x.Programme, Passed: x.Passed, Watched: x.WatchedBy != ""})
	if err != nil || len(x.Questions) == 0 {
		return err
	}
	return p.record(1, readiness.Record{Type: "answers", Answers: answerResults(x.Questions)})
}

func answerResults(questions []ledger.QuestionDone) []readiness.AnswerResult {
	answers := make([]readiness.AnswerResult, len(questions))
	for i, q := range questions {
		answers[i] = readiness.AnswerResult{Question: q.Question, Task: q.Task, Correct: q.Correct}
	}
	return answers
}

// jobRecord is the evidence of a sign-off. supervisor is who signed.
func jobRecord(x *ledger.SignOffPayload, supervisor string) readiness.Record {
	r := readiness.Record{
		Type: "job", Task: x.Task, Supervisor: supervisor, Difficulty: x.Difficulty, Vehicle: x.Vehicle, Layout: x.Layout,
		Outcome: x.Outcome, NearMiss: x.NearMiss, Kept: x.Kept,
	}
	for _, s := range x.Steps {
		r.Steps = append(r.Steps, readiness.StepResult{Step: s.Step, Result: s.Result, CriticalError: s.CriticalError, Bulk: s.Bulk})
	}
	for _, o := range x.Oral {
		r.Oral = append(r.Oral, readiness.OralAnswer{Question: o.Question, Satisfactory: o.Satisfactory})
	}
	return r
}

func (p *projection) signOff(x *ledger.SignOffPayload) error {
	if err := p.run(`INSERT INTO signed_jobs (job_id, entry_id) VALUES ($1, $2)`, x.Job, p.body.ID); err != nil {
		return err
	}
	return p.record(0, jobRecord(x, p.body.Actor))
}

func (p *projection) unwatchedJob(x *ledger.UnwatchedJobPayload) error {
	return p.record(0, readiness.Record{Type: "unwatched_job", Task: x.Task, Date: x.Date})
}

func (p *projection) spotCheck(x *ledger.SpotCheckPayload) error {
	return p.record(0, readiness.Record{Type: "spot_check", Task: x.Task, Supervisor: p.body.Actor, Finding: x.Finding, Kept: x.Kept})
}

func (p *projection) caseOpened(x *ledger.CaseOpenedPayload) error {
	err := p.run(`INSERT INTO cases (entry_id, idx, person_id, task, site_id, closed_by) VALUES ($1, $2, $3, $4, $5, '')`,
		p.body.ID, p.index, p.body.Subject, x.Task, p.body.Site)
	if err != nil {
		return err
	}
	for _, person := range append([]string{p.body.Subject, p.body.Actor}, x.People...) {
		err := p.run(`INSERT INTO case_people (entry_id, person_id) VALUES ($1, $2) ON CONFLICT (entry_id, person_id) DO NOTHING`, p.body.ID, person)
		if err != nil {
			return err
		}
	}
	return nil
}

func (p *projection) returned(x *ledger.ReturnPayload) error {
	if err := p.run(`UPDATE cases SET closed_by = $1 WHERE entry_id = $2 AND closed_by = ''`, p.body.ID, x.Case); err != nil {
		return err
	}
	return p.record(0, readiness.Record{Type: "return", Task: x.Task, Finding: x.Finding, Kept: x.Kept})
}

// clearanceLimits is the JSON of a clearance's limits.
type clearanceLimits struct {
	Layouts []string `json:"layouts,omitempty"`
	Holds   []string `json:"holds,omitempty"`
	Site    string   `json:"site,omitempty"`
}

func (p *projection) clearance(x *ledger.ClearancePayload) error {
	r := readiness.Record{Type: "clearance", Task: x.Task, By: readiness.StringOrList{p.body.Actor}, Until: x.Until, Waiver: x.Waiver != nil}
	if x.Waiver != nil && x.Waiver.Until != "" && (r.Until == "" || x.Waiver.Until < r.Until) {
		r.Until = x.Waiver.Until
	}
	if limits := (clearanceLimits{x.Layouts, x.Holds, p.body.Site}); len(x.Layouts)+len(x.Holds) > 0 || p.body.Site != "" {
		b, err := json.Marshal(limits)
		if err != nil {
			return err
		}
		r.Limits = b
	}
	return p.record(0, r)
}

func (p *projection) standDown(x *ledger.StandDownPayload) error {
	signed := len(p.Signatures) > 0
	by := ""
	if signed {
		by = p.body.ID
	}
	err := p.run(`INSERT INTO stand_downs (entry_id, idx, apprentice, task, ordered_by, signed_by_entry) VALUES ($1, $2, $3, $4, $5, $6)`,
		p.body.ID, p.index, p.body.Subject, x.Task, p.body.Actor, by)
	if err != nil {
		return err
	}
	return p.record(0, standDownRecord(x.Task, p.body.Actor, signed))
}

func standDownRecord(task, by string, signed bool) readiness.Record {
	return readiness.Record{Type: "stand_down", Task: task, By: readiness.StringOrList{by}, Signed: &signed}
}

func (p *projection) standDownSigned(x *ledger.StandDownSignedPayload) error {
	if err := p.run(`UPDATE stand_downs SET signed_by_entry = $1 WHERE entry_id = $2`, p.body.ID, x.StandDown); err != nil {
		return err
	}
	r, err := p.evidenceOf(x.StandDown)
	if err != nil {
		return err
	}
	signed := true
	r.Signed = &signed
	b, err := json.Marshal(r)
	if err != nil {
		return err
	}
	return p.run(`UPDATE evidence SET record = $1 WHERE idx = (SELECT idx FROM entry_index WHERE id = $2)`, string(b), x.StandDown)
}

// evidenceOf is the first record of an earlier entry.
func (p *projection) evidenceOf(entry string) (readiness.Record, error) {
	var r readiness.Record
	var b string
	err := p.t.row(`SELECT record FROM evidence WHERE idx = (SELECT idx FROM entry_index WHERE id = $1) AND part = 0`, entry).Scan(&b)
	if err != nil {
		return r, err
	}
	return r, json.Unmarshal([]byte(b), &r)
}

func (p *projection) restore(x *ledger.RestorePayload) error {
	err := p.run(`INSERT INTO restores (entry_id, idx, apprentice, task) VALUES ($1, $2, $3, $4)`, p.body.ID, p.index, p.body.Subject, x.Task)
	if err != nil {
		return err
	}
	return p.record(0, readiness.Record{Type: "restore", Task: x.Task, By: readiness.StringOrList{p.body.Actor}})
}

func (p *projection) recognition(x *ledger.RecognitionPayload) error {
	by, err := p.signers()
	if err != nil {
		return err
	}
	return p.record(0, readiness.Record{Type: "recognition", Task: x.Task, By: by, StandsFor: x.StandsFor, Jobs: x.Jobs})
}

// signers are the persons who signed, the actor first.
func (p *projection) signers() ([]string, error) {
	by := []string{p.body.Actor}
	for _, s := range p.Signatures {
		var person string
		if err := p.t.row(`SELECT person_id FROM signing_keys WHERE id = $1`, s.Key).Scan(&person); err != nil {
			return nil, err
		}
		if person != p.body.Actor {
			by = append(by, person)
		}
	}
	return by, nil
}

// andAnswers writes the same about a theory test's answers, if the entry is a theory test that has any, or a correction of one.
func (p *projection) andAnswers(entry string, r readiness.Record) error {
	var n int
	if err := p.t.row(`SELECT COUNT(*) FROM evidence WHERE idx = (SELECT idx FROM entry_index WHERE id = $1) AND part = 1`, entry).Scan(&n); err != nil || n == 0 {
		return err
	}
	return p.record(1, r)
}
