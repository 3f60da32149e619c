package store

import (
	"database/sql"
	"errors"

	"brakewright/readiness"
	"brakewright/store/ledger"
)

// sqlFacts are the facts by which rules judge an entry at append: the projections as they stand in the transaction.
// ledger.State says the same by replaying; a property test holds the two together.
type sqlFacts struct{ q querier }

var _ ledger.Facts = (*sqlFacts)(nil)

func (f *sqlFacts) Next() (int64, error) {
	var n int64
	err := f.q.row(`SELECT COALESCE(MAX(idx) + 1, 0) FROM entry_index`).Scan(&n)
	return n, err
}

func (f *sqlFacts) BackdatingDays() (int, error) {
	var n int
	err := f.q.row(`SELECT backdating_days FROM adoptions ORDER BY idx DESC LIMIT 1`).Scan(&n)
	if errors.Is(err, sql.ErrNoRows) {
		return ledger.DefaultBackdatingDays, nil
	}
	return n, err
}

// KeptYears reads the edition in use: an erasure asks it, and that is seldom.
func (f *sqlFacts) KeptYears(kind readiness.RecordKind) (int, error) {
	var edition string
	err := f.q.row(`SELECT edition FROM adoptions ORDER BY idx DESC LIMIT 1`).Scan(&edition)
	if errors.Is(err, sql.ErrNoRows) {
		return ledger.DefaultRetentionYears, nil
	}
	if err != nil {
		return 0, err
	}
	p, err := rulesPolicyOf(edition, func(hash string) ([]byte, error) { return contentOf(f.q, hash) })
	return p.keptYears(kind), err
}

func (f *sqlFacts) LastRecords(person string) (map[readiness.RecordKind]int64, error) {
	all := map[readiness.RecordKind]int64{}
	_, err := collect(f.q, func(r *sql.Rows) (struct{}, error) {
		var typ string
		var at int64
		if err := r.Scan(&typ, &at); err != nil {
			return struct{}{}, err
		}
		k, _ := ledger.KindOf(ledger.Type(typ))
		all[k.Record] = max(all[k.Record], at)
		return struct{}{}, nil
	}, `
		SELECT type, MAX(recorded_at) FROM entry_index WHERE subject = $1 GROUP BY type
		UNION ALL SELECT type, MAX(recorded_at) FROM entry_index WHERE actor = $2 GROUP BY type`, person, person)
	return all, err
}

func (f *sqlFacts) Agreements(person string) ([]ledger.BegunFact, error) {
	return collect(f.q, func(r *sql.Rows) (ledger.BegunFact, error) {
		x := ledger.BegunFact{Type: ledger.AgreementMade, Person: person}
		var endedBy string
		err := r.Scan(&x.From, &x.Until, &endedBy)
		x.Ended = endedBy != ""
		return x, err
	}, `SELECT from_date, until_date, ended_by FROM agreements WHERE person_id = $1 ORDER BY idx`, person)
}

func (f *sqlFacts) OpenMatters(person string) (m ledger.Matters, err error) {
	err = f.q.row(`
		SELECT COUNT(*) FROM cases
		WHERE closed_by = '' AND (person_id = $1 OR entry_id IN (SELECT entry_id FROM case_people WHERE person_id = $1))`, person).Scan(&m.Cases)
	if err != nil {
		return m, err
	}
	err = f.q.row(`
		SELECT COUNT(*) FROM disputes d JOIN entry_index i ON i.id = d.disputed
		WHERE d.settled_by = '' AND (i.subject = $1 OR i.actor = $1 OR d.disputed_by = $1)`, person).Scan(&m.Disputes)
	return m, err
}

func (f *sqlFacts) exists(query string, args ...any) (bool, error) {
	var n int
	err := f.q.row(query, args...).Scan(&n)
	if errors.Is(err, sql.ErrNoRows) {
		return false, nil
	}
	return n > 0, err
}

func (f *sqlFacts) Person(id string) (bool, error) {
	return f.exists(`SELECT 1 FROM people WHERE id = $1`, id)
}

// Erased: the data key went by an erasure and by nothing else.
func (f *sqlFacts) Erased(person string) (bool, error) {
	return f.exists(`SELECT 1 FROM people p JOIN superseded s ON s.hash = p.data_key WHERE p.id = $1`, person)
}
func (f *sqlFacts) Site(id string) (bool, error) {
	return f.exists(`SELECT 1 FROM sites WHERE id = $1`, id)
}
func (f *sqlFacts) Cohort(id string) (bool, error) {
	return f.exists(`SELECT 1 FROM cohorts WHERE id = $1`, id)
}
func (f *sqlFacts) Member(person, cohort string) (bool, error) {
	return f.exists(`SELECT 1 FROM memberships WHERE person_id = $1 AND cohort_id = $2 AND ended_by = ''`, person, cohort)
}
func (f *sqlFacts) HandedIn() (n int, err error) {
	return n, f.q.row(`SELECT COUNT(*) FROM tests WHERE handed_in <> ''`).Scan(&n)
}
func (f *sqlFacts) Voids() (n int, err error) {
	return n, f.q.row(`SELECT COUNT(*) FROM voids`).Scan(&n)
}
func (f *sqlFacts) Voided(question, lesson, edition string) (bool, error) {
	return f.exists(`SELECT 1 FROM voids WHERE question = $1 AND lesson = $2 AND edition = $3 AND restores = 0 AND restored_by = ''`, question, lesson, edition)
}
func (f *sqlFacts) JobSigned(job string) (bool, error) {
	return f.exists(`SELECT 1 FROM signed_jobs WHERE job_id = $1`, job)
}

func (f *sqlFacts) CaseOpen(entry string) (bool, error) {
	return f.exists(`SELECT 1 FROM cases WHERE entry_id = $1 AND closed_by = ''`, entry)
}

const roleColumns = `SELECT entry_id, person_id, role, site_id, from_date, until_date, author FROM roles`

func scanRoleFact(r *sql.Rows) (x ledger.RoleFact, err error) {
	return x, r.Scan(&x.Entry, &x.Person, &x.Role, &x.Site, &x.From, &x.Until, &x.Author)
}

func (f *sqlFacts) Roles(person string) ([]ledger.RoleFact, error) {
	return collect(f.q, scanRoleFact, roleColumns+` WHERE person_id = $1 ORDER BY idx`, person)
}
func (f *sqlFacts) Coordinators() ([]ledger.RoleFact, error) {
	return collect(f.q, scanRoleFact, roleColumns+` WHERE role = 'coordinator' ORDER BY idx`)
}

func (f *sqlFacts) Appointments(person string) ([]ledger.AppointmentFact, error) {
	return collect(f.q, func(r *sql.Rows) (x ledger.AppointmentFact, err error) {
		return x, r.Scan(&x.Entry, &x.Person, &x.Task, &x.Site, &x.From, &x.Until)
	}, `SELECT entry_id, person_id, task, site_id, from_date, until_date FROM appointments WHERE person_id = $1 ORDER BY idx`, person)
}

func (f *sqlFacts) Begun(entry string) (*ledger.BegunFact, error) {
	var x ledger.BegunFact
	var endedBy string
	err := f.q.row(`
		SELECT 'role_granted', person_id, role, from_date, until_date, ended_by FROM roles WHERE entry_id = $1
		UNION ALL SELECT 'appointed', person_id, '', from_date, until_date, ended_by FROM appointments WHERE entry_id = $1
		UNION ALL SELECT 'agreement_made', person_id, '', from_date, until_date, ended_by FROM agreements WHERE entry_id = $1`,
		entry).Scan(&x.Type, &x.Person, &x.Role, &x.From, &x.Until, &endedBy)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	x.Ended = endedBy != ""
	return &x, err
}

func (f *sqlFacts) Key(id string) (*ledger.KeyFact, error) {
	var x ledger.KeyFact
	err := f.q.row(`SELECT id, person_id, alg, public, rp_id, origin, added_at, ended_at FROM signing_keys WHERE id = $1`, id).
		Scan(&x.ID, &x.Person, &x.Alg, &x.Public, &x.RPID, &x.Origin, &x.AddedAt, &x.EndedAt)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	return &x, err
}

func (f *sqlFacts) Entry(id string) (*ledger.EntryFact, error) {
	var x ledger.EntryFact
	var leaf []byte
	err := f.q.row(`
		SELECT i.idx, i.type, i.actor, i.subject, i.site, i.task, e.leaf
		FROM entry_index i JOIN entries e ON e.idx = i.idx WHERE i.id = $1`, id).
		Scan(&x.Index, &x.Type, &x.Actor, &x.Subject, &x.Site, &x.Task, &leaf)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	e, err := ledger.ParseLeaf(leaf)
	if err != nil {
		return nil, err
	}
	for _, s := range e.Signatures {
		x.Signers = append(x.Signers, s.Key)
	}
	return &x, nil
}

func (f *sqlFacts) Test(id string) (*ledger.TestFact, error) {
	var x ledger.TestFact
	var handedIn string
	err := f.q.row(`SELECT apprentice, task, handed_in FROM tests WHERE id = $1`, id).Scan(&x.Apprentice, &x.Task, &handedIn)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	x.HandedIn = handedIn != ""
	return &x, err
}

func (f *sqlFacts) StandDowns(apprentice string) ([]ledger.StandDownFact, []ledger.RestoreFact, error) {
	downs, err := collect(f.q, func(r *sql.Rows) (x ledger.StandDownFact, err error) {
		var signed string
		err = r.Scan(&x.Index, &x.Entry, &x.Task, &x.By, &signed)
		x.Signed = signed != ""
		return x, err
	}, `SELECT idx, entry_id, task, ordered_by, signed_by_entry FROM stand_downs WHERE apprentice = $1 ORDER BY idx`, apprentice)
	if err != nil {
		return nil, nil, err
	}
	restores, err := collect(f.q, func(r *sql.Rows) (x ledger.RestoreFact, err error) {
		return x, r.Scan(&x.Index, &x.Task)
	}, `SELECT idx, task FROM restores WHERE apprentice = $1 ORDER BY idx`, apprentice)
	return downs, restores, err
}

func (f *sqlFacts) Disputes(entry string) ([]ledger.DisputeFact, error) {
	return collect(f.q, func(r *sql.Rows) (x ledger.DisputeFact, err error) {
		var settled string
		err = r.Scan(&x.Entry, &x.By, &settled)
		x.Settled = settled != ""
		return x, err
	}, `SELECT entry_id, disputed_by, settled_by FROM disputes WHERE disputed = $1 ORDER BY idx`, entry)
}

func (f *sqlFacts) Corrections(entry string) ([]ledger.CorrectionFact, error) {
	return collect(f.q, func(r *sql.Rows) (x ledger.CorrectionFact, err error) {
		return x, r.Scan(&x.Entry, &x.By)
	}, `SELECT entry_id, made_by FROM corrections WHERE corrects = $1 AND gone_by = '' ORDER BY idx`, entry)
}

func (f *sqlFacts) Countersigned(entry string) (bool, error) {
	return f.exists(`SELECT 1 FROM words_on WHERE named = $1 AND type = 'countersigned'`, entry)
}
