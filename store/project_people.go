package store

import (
	"database/sql"

	"brakewright/store/ledger"
)

// Founding, people, roles, appointments, sites, cohorts, agreements, leaves, keys and passwords.

func (p *projection) opening(x *ledger.OpeningPayload) error {
	err := p.run(`INSERT INTO founding (entry_id, origin, title, zone, founder, demo) VALUES ($1, $2, $3, $4, $5, $6)`,
		p.body.ID, x.Origin, x.Title, p.body.Zone, p.body.Actor, x.Demo)
	if err != nil {
		return err
	}
	if err := p.addPerson(x.Content["data_key"], x.Content["password"]); err != nil {
		return err
	}
	return p.key(x.Key, x.Content["sealed_key"])
}

func (p *projection) addPerson(dataKey, password string) error {
	return p.run(`INSERT INTO people (id, idx, name_entry, login_entry, data_key, password, added_at) VALUES ($1, $2, $3, $3, $4, $5, $6)`,
		p.body.Subject, p.index, p.body.ID, dataKey, password, p.RecordedAt)
}

func (p *projection) person(x *ledger.PersonPayload) error {
	if p.body.Type == ledger.PersonAdded {
		return p.addPerson(x.Content["data_key"], "")
	}
	if _, ok := x.Personal["name"]; ok {
		if err := p.run(`UPDATE people SET name_entry = $1 WHERE id = $2`, p.body.ID, p.body.Subject); err != nil {
			return err
		}
	}
	if _, ok := x.Personal["login"]; ok {
		return p.run(`UPDATE people SET login_entry = $1 WHERE id = $2`, p.body.ID, p.body.Subject)
	}
	return nil
}

func (p *projection) role(x *ledger.RolePayload) error {
	return p.run(`
		INSERT INTO roles (entry_id, idx, person_id, role, from_date, until_date, site_id, author, ended_by)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, '')`,
		p.body.ID, p.index, p.body.Subject, x.Role, x.From, x.Until, x.Site, x.Author)
}

func (p *projection) appointment(x *ledger.AppointmentPayload) error {
	return p.run(`
		INSERT INTO appointments (entry_id, idx, person_id, task, site_id, from_date, until_date, ended_by)
		VALUES ($1, $2, $3, $4, $5, $6, $7, '')`,
		p.body.ID, p.index, p.body.Subject, x.Task, x.Site, x.From, x.Until)
}

func (p *projection) agreement(x *ledger.AgreementPayload) error {
	return p.run(`INSERT INTO agreements (entry_id, idx, person_id, from_date, until_date, ended_by) VALUES ($1, $2, $3, $4, $5, '')`,
		p.body.ID, p.index, p.body.Subject, x.From, x.Until)
}

// end cuts off a role, an appointment or an agreement at its last day.
func (p *projection) end(x *ledger.EndPayload) error {
	read, write := "", ""
	switch p.body.Type {
	case ledger.RoleEnded:
		read = `SELECT until_date FROM roles WHERE entry_id = $1`
		write = `UPDATE roles SET until_date = $1, ended_by = $2 WHERE entry_id = $3`
	case ledger.AppointmentEnded:
		read = `SELECT until_date FROM appointments WHERE entry_id = $1`
		write = `UPDATE appointments SET until_date = $1, ended_by = $2 WHERE entry_id = $3`
	case ledger.AgreementEnded:
		read = `SELECT until_date FROM agreements WHERE entry_id = $1`
		write = `UPDATE agreements SET until_date = $1, ended_by = $2 WHERE entry_id = $3`
	}
	var until string
	if err := p.t.row(read, x.Ends).Scan(&until); err != nil {
		return err
	}
	if err := p.run(write, ledger.Cut(until, x.Date), p.body.ID, x.Ends); err != nil {
		return err
	}
	if err := p.closeQuestion(x.Ends); err != nil || p.body.Type != ledger.AppointmentEnded {
		return err
	}
	return p.unappointed(x.Ends, until)
}

func (p *projection) site(x *ledger.SitePayload) error {
	return p.run(`INSERT INTO sites (id, idx, name, zone) VALUES ($1, $2, $3, $4)`, x.Site, p.index, x.Name, x.Zone)
}

func (p *projection) cohort(x *ledger.CohortPayload) error {
	return p.run(`INSERT INTO cohorts (id, idx, name, site_id) VALUES ($1, $2, $3, $4)`, x.Cohort, p.index, x.Name, x.Site)
}

func (p *projection) membership(x *ledger.MembershipPayload) error {
	if p.body.Type == ledger.CohortJoined {
		return p.run(`
			INSERT INTO memberships (entry_id, idx, person_id, cohort_id, from_date, until_date, ended_by) VALUES ($1, $2, $3, $4, $5, '', '')`,
			p.body.ID, p.index, p.body.Subject, x.Cohort, x.Date)
	}
	return p.run(`UPDATE memberships SET until_date = $1, ended_by = $2 WHERE person_id = $3 AND cohort_id = $4 AND ended_by = ''`,
		x.Date, p.body.ID, p.body.Subject, x.Cohort)
}

func (p *projection) key(k ledger.KeyPayload, sealed string) error {
	public, err := publicKey(k)
	if err != nil {
		return err
	}
	if err := p.inUse(sealed); err != nil {
		return err
	}
	return p.run(`
		INSERT INTO signing_keys (id, idx, person_id, alg, public, sealed, added_at, ended_at, ended_why, rp_id, origin, credential)
		VALUES ($1, $2, $3, $4, $5, $6, $7, 0, '', $8, $9, $10)`,
		k.Key, p.index, p.body.Subject, k.Alg, public, sealed, p.RecordedAt, k.RPID, k.Origin, k.Credential)
}

func (p *projection) keyEnd(x *ledger.KeyEndedPayload) error {
	var sealed string
	if err := p.t.row(`SELECT sealed FROM signing_keys WHERE id = $1`, x.Key).Scan(&sealed); err != nil {
		return err
	}
	if err := p.run(`UPDATE signing_keys SET sealed = '', ended_at = $1, ended_why = $2 WHERE id = $3`, max(x.From, 1), x.Why, x.Key); err != nil {
		return err
	}
	if err := p.supersede(sealed); err != nil {
		return err
	}
	added, err := p.keyEntry(x.Key)
	if err != nil {
		return err
	}
	if err := p.closeQuestion(added); err != nil || x.Why != "compromised" {
		return err
	}
	return p.compromised(x.Key, x.From)
}

func (p *projection) password(x *ledger.PasswordPayload) error {
	var old string
	if err := p.t.row(`SELECT password FROM people WHERE id = $1`, p.body.Subject).Scan(&old); err != nil {
		return err
	}
	next := x.Content["password"]
	if err := p.run(`UPDATE people SET password = $1 WHERE id = $2`, next, p.body.Subject); err != nil {
		return err
	}
	if err := p.inUse(next); err != nil {
		return err
	}
	return p.supersede(old)
}

// supersede notes that content is not used any more, unless it is; whoever appends removes its bytes.
func (p *projection) supersede(hash string) error {
	if hash == "" {
		return nil
	}
	var users int
	err := p.t.row(`SELECT (SELECT COUNT(*) FROM people WHERE password = $1) + (SELECT COUNT(*) FROM signing_keys WHERE sealed = $1)`, hash).Scan(&users)
	if err != nil || users > 0 {
		return err
	}
	return p.run(`INSERT INTO superseded (hash, by_entry) VALUES ($1, $2)`, hash, p.body.ID)
}

// inUse takes that back where the same bytes are named again.
func (p *projection) inUse(hash string) error {
	return p.run(`DELETE FROM superseded WHERE hash = $1`, hash)
}

// erasure ends a person's keys and takes away what nobody may open any more: data key, password, sealed keys.
func (p *projection) erasure() error {
	var dataKey, password string
	if err := p.t.row(`SELECT data_key, password FROM people WHERE id = $1`, p.body.Subject).Scan(&dataKey, &password); err != nil {
		return err
	}
	sealed, err := collect(p.t, func(r *sql.Rows) (s string, err error) { return s, r.Scan(&s) },
		`SELECT sealed FROM signing_keys WHERE person_id = $1 AND sealed <> '' ORDER BY idx`, p.body.Subject)
	if err != nil {
		return err
	}
	if err := p.run(`UPDATE people SET password = '' WHERE id = $1`, p.body.Subject); err != nil {
		return err
	}
	err = p.run(`UPDATE signing_keys SET sealed = '', ended_at = $1, ended_why = 'erased' WHERE person_id = $2 AND ended_at = 0`, max(p.RecordedAt, 1), p.body.Subject)
	if err != nil {
		return err
	}
	for _, hash := range append([]string{password}, sealed...) {
		if err := p.supersede(hash); err != nil {
			return err
		}
	}
	return p.run(`INSERT INTO superseded (hash, by_entry) VALUES ($1, $2)`, dataKey, p.body.ID)
}
