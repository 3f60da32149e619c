package store

import (
	"database/sql"
	"encoding/json"
	"errors"

	"brakewright/readiness"
	"brakewright/store/ledger"
)

// What voided questions do to evidence. A test marked anew is corrected: from the day of the entry on its record and its
// answers say what they say now, and verdicts of earlier days stay what they were. At most one such correction of a test
// is in force: the one before is withdrawn, and so is the last one when the test itself is withdrawn.

func (p *projection) questionVoided(x *ledger.QuestionVoidedPayload) error {
	err := p.run(`INSERT INTO voids (entry_id, idx, question, lesson, edition, restores, restored_by) VALUES ($1, $2, $3, $4, $5, $6, '')`,
		p.body.ID, p.index, x.Question, x.Lesson, x.Edition, x.Restores)
	if err != nil {
		return err
	}
	if x.Restores {
		err := p.run(`UPDATE voids SET restored_by = $1 WHERE question = $2 AND lesson = $3 AND edition = $4 AND restores = 0 AND restored_by = ''`,
			p.body.ID, x.Question, x.Lesson, x.Edition)
		if err != nil {
			return err
		}
	}
	part := 0
	for _, r := range x.Remarked {
		answers, err := json.Marshal(answerResults(r.Questions))
		if err != nil {
			return err
		}
		if err := p.run(`UPDATE tests SET percent = $1, passed = $2 WHERE id = $3`, r.Percent, r.Passed, r.Test); err != nil {
			return err
		}
		err = p.run(`INSERT INTO remarks (test_id, entry_id, passed, answers, record) VALUES ($1, $2, $3, $4, '')
			ON CONFLICT (test_id) DO UPDATE SET entry_id = excluded.entry_id, passed = excluded.passed, answers = excluded.answers`,
			r.Test, p.body.ID, r.Passed, string(answers))
		if err != nil {
			return err
		}
		if err := p.remarkEvidence(r.Test, &part); err != nil {
			return err
		}
	}
	return nil
}

// correctedTest sees to a test's marking anew when the test is withdrawn, or its withdrawal is.
func (p *projection) correctedTest() error {
	root := p.body.Corrects
	for {
		var next string
		if err := p.t.row(`SELECT corrects FROM entry_index WHERE id = $1`, root).Scan(&next); err != nil {
			return err
		}
		if next == "" {
			break
		}
		root = next
	}
	var test string
	err := p.t.row(`SELECT r.test_id FROM remarks r JOIN tests t ON t.id = r.test_id WHERE t.handed_in = $1`, root).Scan(&test)
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	if err != nil {
		return err
	}
	part := 2 // behind the correction's own
	return p.remarkEvidence(test, &part)
}

// remarkEvidence withdraws a test's correction in force and, unless the test is withdrawn, writes the one that says how
// it is marked now. part is the number of the entry's next record.
func (p *projection) remarkEvidence(test string, part *int) error {
	var handedIn, apprentice, answers, inForce string
	var passed bool
	err := p.t.row(`SELECT t.handed_in, t.apprentice, r.passed, r.answers, r.record FROM remarks r JOIN tests t ON t.id = r.test_id WHERE r.test_id = $1`, test).
		Scan(&handedIn, &apprentice, &passed, &answers, &inForce)
	if err != nil {
		return err
	}
	correct := func(id, corrects string, with *readiness.Record) error {
		r := readiness.Record{Type: "correction", ID: id, Apprentice: apprentice, Corrects: corrects, Record: json.RawMessage("null")}
		if with != nil {
			b, err := json.Marshal(with)
			if err != nil {
				return err
			}
			r.Record = b
		}
		*part++
		return p.write(*part-1, r)
	}
	var results []readiness.AnswerResult
	if err := json.Unmarshal([]byte(answers), &results); err != nil {
		return err
	}
	var hadAnswers int
	if err := p.t.row(`SELECT COUNT(*) FROM evidence WHERE entry_id = $1 AND part = 1`, handedIn).Scan(&hadAnswers); err != nil {
		return err
	}
	if inForce != "" {
		if err := correct(p.body.ID+"/"+test+"/withdrawn", inForce, nil); err != nil {
			return err
		}
		if hadAnswers > 0 {
			if err := correct(answersID(p.body.ID+"/"+test+"/withdrawn"), answersID(inForce), nil); err != nil {
				return err
			}
		}
		inForce = ""
	}
	live, err := p.live(handedIn)
	if err != nil {
		return err
	}
	if live {
		first, err := p.evidenceOf(handedIn)
		if err != nil {
			return err
		}
		inForce = p.body.ID + "/" + test
		now := readiness.Record{Type: first.Type, Apprentice: apprentice, Date: first.Date, Task: first.Task, Edition: first.Edition, Watched: first.Watched, Passed: passed}
		if err := correct(inForce, handedIn, &now); err != nil {
			return err
		}
		if hadAnswers > 0 {
			var with *readiness.Record
			if len(results) > 0 {
				with = &readiness.Record{Type: "answers", Apprentice: apprentice, Date: first.Date, Answers: results}
			}
			if err := correct(answersID(inForce), answersID(handedIn), with); err != nil {
				return err
			}
		}
	}
	return p.run(`UPDATE remarks SET record = $1 WHERE test_id = $2`, inForce, test)
}

// live says whether an entry stands: no correction of it does.
func (p *projection) live(entry string) (bool, error) {
	corrections, err := collect(p.t, func(r *sql.Rows) (id string, err error) { return id, r.Scan(&id) },
		`SELECT id FROM entry_index WHERE corrects = $1 AND corrects <> '' ORDER BY idx`, entry)
	if err != nil {
		return false, err
	}
	for _, c := range corrections {
		stands, err := p.live(c)
		if err != nil || stands {
			return false, err
		}
	}
	return true, nil
}
