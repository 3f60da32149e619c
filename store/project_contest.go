package store

import (
	"database/sql"
	"encoding/json"
	"slices"
	"strings"

	"brakewright/readiness"
	"brakewright/store/ledger"
)

// What follows a signed entry: corrections, disputes and what came into question, settlements, and who is to see to it.
// ledger.State says the same for the rules.

// ownParts is where evidence that follows from a question or a settlement begins among an entry's, behind that of marking anew.
const ownParts = 1000

// wordsOn notes what the entry is a word on, and what it is by its signatures.
func (p *projection) wordsOn() error {
	if named := ledger.Names(p.body, p.Payload); named != "" {
		err := p.run(`INSERT INTO words_on (named, idx, entry_id, type) VALUES ($1, $2, $3, $4)`, named, p.index, p.body.ID, string(p.body.Type))
		if err != nil {
			return err
		}
	}
	if len(p.Signatures) == 0 {
		return nil
	}
	on, err := p.body.Date()
	if err != nil {
		return err
	}
	for _, key := range ledger.VouchingKeys(p.Parsed) {
		if err := p.run(`INSERT INTO signed_entries (key_id, idx, entry_id, happened_on) VALUES ($1, $2, $3, $4)`, key, p.index, p.body.ID, on); err != nil {
			return err
		}
	}
	return nil
}

func (p *projection) assigned(x *ledger.AssignedPayload) error {
	return p.run(`INSERT INTO assignments (matter, idx, entry_id, owner) VALUES ($1, $2, $3, $4)
		ON CONFLICT (matter) DO UPDATE SET idx = excluded.idx, entry_id = excluded.entry_id, owner = excluded.owner`, x.Matter, p.index, p.body.ID, x.To)
}

// correction keeps the date of what it corrects in the new record: a job is as old as it is, whenever it is written anew.
func (p *projection) correction(x *ledger.CorrectionPayload) error {
	if err := p.run(`UPDATE leaves SET withdrawn_by = $1 WHERE entry_id = $2`, p.body.ID, p.body.Corrects); err != nil {
		return err
	}
	// A finding withdrawn opens its case again.
	if err := p.run(`UPDATE cases SET closed_by = '' WHERE closed_by = $1`, p.body.Corrects); err != nil {
		return err
	}
	r := readiness.Record{Type: "correction", Corrects: p.body.Corrects, Record: json.RawMessage("null")}
	if x.SignOff != nil {
		first, err := p.original()
		if err != nil {
			return err
		}
		job := jobRecord(x.SignOff, first.Supervisor)
		job.Apprentice, job.Date = p.body.Subject, first.Date
		if r.Record, err = json.Marshal(job); err != nil {
			return err
		}
	}
	if err := p.record(0, r); err != nil {
		return err
	}
	err := p.andAnswers(p.body.Corrects, readiness.Record{Type: "correction", Record: r.Record, Corrects: answersID(p.body.Corrects)})
	if err != nil {
		return err
	}
	if err := p.correctedTest(); err != nil {
		return err
	}
	return p.contradiction(x)
}

// contradiction keeps which corrections count, and opens a dispute where two of one entry do.
func (p *projection) contradiction(x *ledger.CorrectionPayload) error {
	var live int
	if err := p.t.row(`SELECT COUNT(*) FROM corrections WHERE corrects = $1 AND gone_by = ''`, p.body.Corrects).Scan(&live); err != nil {
		return err
	}
	err := p.run(`INSERT INTO corrections (entry_id, idx, corrects, made_by, gone_by) VALUES ($1, $2, $3, $4, '')`, p.body.ID, p.index, p.body.Corrects, p.body.Actor)
	if err != nil {
		return err
	}
	if x.Withdraw {
		err = p.gone(p.body.Corrects)
	} else {
		err = p.revive(p.body.Corrects)
	}
	if err != nil || live != 1 {
		return err
	}
	return p.question(p.body.Corrects, p.body.Actor, p.body.Subject, ownParts)
}

// gone: a correction counts no more, so what it had withdrawn counts again.
func (p *projection) gone(correction string) error {
	if err := p.run(`UPDATE corrections SET gone_by = $1 WHERE entry_id = $2`, p.body.ID, correction); err != nil {
		return err
	}
	return p.revive(correction)
}

func (p *projection) revive(by string) error {
	return p.run(`UPDATE corrections SET gone_by = '' WHERE gone_by = $1`, by)
}

// question opens a dispute of an entry unless one is open; by is "" where nobody disputes it, but it came into question.
// part and part + 1 are the places of its evidence among the entry's.
func (p *projection) question(entry, by, apprentice string, part int) error {
	var open int
	if err := p.t.row(`SELECT COUNT(*) FROM disputes WHERE disputed = $1 AND settled_by = ''`, entry).Scan(&open); err != nil || open > 0 {
		return err
	}
	err := p.run(`INSERT INTO disputes (entry_id, idx, disputed, disputed_by, settled_by) VALUES ($1, $2, $3, $4, '')`, p.body.ID, p.index, entry, by)
	if err != nil {
		return err
	}
	var about, typ string
	if err := optional(p.t.row(`SELECT subject, type FROM entry_index WHERE id = $1`, entry).Scan(&about, &typ)); err != nil {
		return err
	}
	if ledger.IsAuthorising(ledger.Type(typ)) {
		return nil // no evidence of anybody
	}
	if about == "" {
		about = apprentice
	}
	return p.record(part, readiness.Record{Type: "dispute", Disputes: entry, Apprentice: about})
}

// questionAll puts entries in question that a query finds.
func (p *projection) questionAll(query string, args ...any) error {
	ids, err := collect(p.t, func(r *sql.Rows) (id string, err error) { return id, r.Scan(&id) }, query, args...)
	if err != nil {
		return err
	}
	for i, id := range ids {
		if err := p.question(id, "", p.body.Subject, ownParts+i); err != nil {
			return err
		}
	}
	return nil
}

// compromised: what the key signed from a time on is in question.
func (p *projection) compromised(key string, from int64) error {
	return p.questionAll(`SELECT s.entry_id FROM signed_entries s JOIN entry_index i ON i.idx = s.idx
		WHERE s.key_id = $1 AND i.recorded_at >= $2 AND i.type IN (`+types(ledger.Questionable, ledger.Authorising)+`) ORDER BY s.idx`, key, from)
}

// types are names of types as a list of SQL strings; none holds a quotation mark.
func types(lists ...[]ledger.Type) string {
	var names []string
	for _, t := range slices.Concat(lists...) {
		names = append(names, "'"+string(t)+"'")
	}
	return strings.Join(names, ", ")
}

// closeQuestion: what is ended needs no settlement any more.
func (p *projection) closeQuestion(entry string) error {
	return p.run(`UPDATE disputes SET settled_by = $1 WHERE disputed = $2 AND settled_by = ''`, p.body.ID, entry)
}

// keyEntry is the entry that added a key.
func (p *projection) keyEntry(key string) (id string, err error) {
	return id, p.t.row(`SELECT i.id FROM signing_keys k JOIN entry_index i ON i.idx = k.idx WHERE k.id = $1`, key).Scan(&id)
}

// fallen: an entry that gave authority is as if it had never been, and what rests on it is in question.
func (p *projection) fallen(entry string, typ ledger.Type) error {
	table := "appointments"
	switch typ {
	case ledger.KeyAdded:
		var key, sealed string
		if err := p.t.row(`SELECT k.id, k.sealed FROM signing_keys k JOIN entry_index i ON i.idx = k.idx WHERE i.id = $1`, entry).Scan(&key, &sealed); err != nil {
			return err
		}
		if err := p.run(`UPDATE signing_keys SET sealed = '', ended_at = CASE WHEN added_at > 1 THEN added_at ELSE 1 END, ended_why = 'compromised' WHERE id = $1`, key); err != nil {
			return err
		}
		if err := p.supersede(sealed); err != nil {
			return err
		}
		return p.compromised(key, 0)
	case ledger.RoleGranted:
		table = "roles"
	}
	var from, until string
	if err := p.t.row(`SELECT from_date, until_date FROM `+table+` WHERE entry_id = $1`, entry).Scan(&from, &until); err != nil {
		return err
	}
	if err := p.run(`UPDATE `+table+` SET until_date = $1, ended_by = $2 WHERE entry_id = $3`, ledger.Cut(until, ledger.DayBefore(from)), p.body.ID, entry); err != nil {
		return err
	}
	if typ == ledger.Appointed {
		return p.unappointed(entry, until)
	}
	return p.questionAll(`SELECT s.entry_id FROM signed_entries s JOIN entry_index i ON i.idx = s.idx JOIN signing_keys k ON k.id = s.key_id
		JOIN roles r ON r.entry_id = $1 AND r.role = 'coordinator' AND r.person_id = k.person_id AND i.idx > r.idx
		WHERE i.type IN (`+types(ledger.Authorising)+`) GROUP BY s.entry_id, s.idx ORDER BY s.idx`, entry)
}

// unappointed: what somebody signed under an appointment after its last day as it is now, and that no other appointment
// covers, is in question. until is the last day that it had before.
func (p *projection) unappointed(appointment, until string) error {
	return p.questionAll(`
		SELECT i.id FROM appointments a
		JOIN entry_index i ON i.actor = a.person_id AND i.task = a.task AND (a.site_id = '' OR a.site_id = i.site)
		JOIN signed_entries s ON s.entry_id = i.id AND s.idx = i.idx
		WHERE a.entry_id = $1 AND s.happened_on >= a.from_date AND s.happened_on > a.until_date AND ($2 = '' OR s.happened_on <= $3)
		AND NOT EXISTS (SELECT 1 FROM appointments b WHERE b.person_id = a.person_id AND b.task = a.task AND (b.site_id = '' OR b.site_id = i.site)
			AND b.from_date <= s.happened_on AND (b.until_date = '' OR s.happened_on <= b.until_date))
		AND i.type IN (`+types(ledger.Questionable)+`)
		GROUP BY i.id, i.idx ORDER BY i.idx`, appointment, until, until)
}

// original is the record of the first entry of a chain of corrections.
func (p *projection) original() (readiness.Record, error) {
	id := p.body.Corrects
	for {
		var next string
		if err := p.t.row(`SELECT corrects FROM entry_index WHERE id = $1`, id).Scan(&next); err != nil {
			return readiness.Record{}, err
		}
		if next == "" {
			return p.evidenceOf(id)
		}
		id = next
	}
}

func (p *projection) dispute(x *ledger.DisputePayload) error {
	err := p.run(`INSERT INTO disputes (entry_id, idx, disputed, disputed_by, settled_by) VALUES ($1, $2, $3, $4, '')`,
		p.body.ID, p.index, x.Disputes, p.body.Actor)
	if err != nil {
		return err
	}
	if err := p.record(0, readiness.Record{Type: "dispute", Disputes: x.Disputes}); err != nil {
		return err
	}
	return p.andAnswers(x.Disputes, readiness.Record{Type: "dispute", Disputes: answersID(x.Disputes)})
}

// settledOn is the date of a settlement: its own, but no earlier than that of the dispute that it closes, which may have
// been written in a zone further east.
func (p *projection) settledOn(entry string) (string, error) {
	date, err := p.body.Date()
	if err != nil {
		return "", err
	}
	open, err := collect(p.t, func(r *sql.Rows) (b string, err error) { return b, r.Scan(&b) },
		`SELECT e.record FROM disputes d JOIN evidence e ON e.idx = d.idx WHERE d.disputed = $1 AND d.settled_by = '' AND e.type = 'dispute'`, entry)
	if err != nil {
		return "", err
	}
	for _, b := range open {
		var r readiness.Record
		if err := json.Unmarshal([]byte(b), &r); err != nil {
			return "", err
		}
		if r.Disputes == entry {
			date = max(date, r.Date)
		}
	}
	return date, nil
}

// settlement closes what is open on an entry. Of corrections that contradict each other, those that do not stand fall.
func (p *projection) settlement(x *ledger.SettlementPayload) error {
	date, err := p.settledOn(x.Disputes)
	if err != nil {
		return err
	}
	err = p.run(`UPDATE disputes SET settled_by = $1 WHERE disputed = $2 AND settled_by = ''`, p.body.ID, x.Disputes)
	if err != nil {
		return err
	}
	var typ string
	if err := optional(p.t.row(`SELECT type FROM entry_index WHERE id = $1`, x.Disputes).Scan(&typ)); err != nil {
		return err
	}
	if ledger.IsAuthorising(ledger.Type(typ)) {
		if x.Upheld {
			return p.fallen(x.Disputes, ledger.Type(typ))
		}
		return nil
	}
	if err := p.record(0, readiness.Record{Type: "settlement", Disputes: x.Disputes, Upheld: x.Upheld, Date: date}); err != nil {
		return err
	}
	if err := p.andAnswers(x.Disputes, readiness.Record{Type: "settlement", Disputes: answersID(x.Disputes), Upheld: x.Upheld, Date: date}); err != nil {
		return err
	}
	if x.Upheld {
		if err := p.gone(x.Disputes); err != nil { // if it is a correction
			return err
		}
	}
	if x.Stands == "" {
		return nil
	}
	others, err := collect(p.t, func(r *sql.Rows) (id string, err error) { return id, r.Scan(&id) },
		`SELECT entry_id FROM corrections WHERE corrects = $1 AND gone_by = '' AND entry_id <> $2 ORDER BY idx`, x.Disputes, x.Stands)
	if err != nil {
		return err
	}
	for i, id := range others {
		if err := p.gone(id); err != nil {
			return err
		}
		if err := p.record(ownParts+i, readiness.Record{Type: "settlement", Disputes: id, Upheld: true}); err != nil {
			return err
		}
	}
	return nil
}
