package store

import (
	"context"
	"crypto/cipher"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
)

// Watched jobs and their taps are drafts until they are signed. What is personal in them is sealed under the apprentice's
// data key, as it will be in the ledger.

// jobPersonal is what is sealed of a job.
type jobPersonal struct {
	Car       json.RawMessage `json:"car,omitempty"`
	WorkOrder string          `json:"work_order,omitempty"`
	Note      string          `json:"note,omitempty"`
}

// tapPersonal is what is sealed of a tap.
type tapPersonal struct {
	WhatHappened string `json:"what_happened,omitempty"`
	Reason       string `json:"reason,omitempty"`
	Note         string `json:"note,omitempty"`
}

func (t *tx) sealJob(j *Job) ([]byte, error) {
	b, err := json.Marshal(jobPersonal{j.Car, j.WorkOrder, j.Note})
	if err != nil {
		return nil, err
	}
	aead, err := t.s.dataKey(t, j.Apprentice)
	if err != nil {
		return nil, err
	}
	return sealWith(t.s.random, aead, b, draftAD(j.ID))
}

func (s *Store) addJob(ctx context.Context, j Job) error {
	if j.ID == "" || j.Apprentice == "" || j.Task == "" {
		return errors.New("add a job: id, apprentice and task are needed")
	}
	if len(j.Car) > 0 && !json.Valid(j.Car) {
		return errors.New("add a job: the car is not JSON")
	}
	if j.Status == "" {
		j.Status = JobWaiting
	}
	if j.CreatedAt.IsZero() {
		j.CreatedAt = s.now()
	}
	return s.write(ctx, func(t *tx) error {
		var apprentice, task string
		err := missing(t.row(`SELECT apprentice, task FROM jobs WHERE id = $1`, j.ID).Scan(&apprentice, &task))
		switch {
		case err == nil && (apprentice != j.Apprentice || task != j.Task):
			return fmt.Errorf("job %s is there already, another one: %w", j.ID, ErrConflict)
		case err == nil:
			return nil
		case !errors.Is(err, ErrNotFound):
			return err
		}
		if err := t.oneActive(&j); err != nil {
			return err
		}
		sealed, err := t.sealJob(&j)
		if err != nil {
			return err
		}
		_, err = t.exec(`
			INSERT INTO jobs (id, apprentice, task, supervisor, vehicle, programme, site_id, bay, setting, difficulty, status, created_at, started_at, finished_at, personal,
				number, planned_at, asked_of, accepted_at, paused_at, paper_end)
			SELECT $1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, COALESCE(MAX(number), 0) + 1, $16, $17, $18, $19, $20 FROM jobs`,
			j.ID, j.Apprentice, j.Task, j.Supervisor, j.Vehicle, j.Programme, j.Site, j.Bay, j.Setting, j.Difficulty, string(j.Status),
			millis(j.CreatedAt), millis(j.StartedAt), millis(j.FinishedAt), sealed, millis(j.PlannedAt), j.AskedOf, millis(j.AcceptedAt), millis(j.PausedAt), millis(j.PaperEnd))
		return err
	})
}

// ActiveJobError says that an apprentice is at another car already.
type ActiveJobError struct{ Job string }

func (e *ActiveJobError) Error() string { return "the apprentice's job " + e.Job + " runs already" }

// oneActive refuses a second job of an apprentice that runs at the same time. It is asked within the write, so that two
// devices cannot both begin one.
func (t *tx) oneActive(j *Job) error {
	if !j.Active() {
		return nil
	}
	var other string
	err := missing(t.row(`
		SELECT j.id FROM jobs j LEFT JOIN signed_jobs g ON g.job_id = j.id
		WHERE j.apprentice = $1 AND j.id <> $2 AND j.status = 'watching' AND j.paused_at = 0 AND j.paper_end = 0 AND g.entry_id IS NULL ORDER BY j.created_at LIMIT 1`,
		j.Apprentice, j.ID).Scan(&other))
	switch {
	case errors.Is(err, ErrNotFound):
		return nil
	case err != nil:
		return err
	}
	return &ActiveJobError{other}
}

func (s *Store) updateJob(ctx context.Context, id string, change func(*Job) error) error {
	return s.write(ctx, func(t *tx) error { return t.changeJob(id, change) })
}

func (t *tx) changeJob(id string, change func(*Job) error) error {
	j, err := t.s.loadJob(t, id)
	if err != nil {
		return err
	}
	if j.Status == JobSigned {
		return fmt.Errorf("job %s is signed: %w", id, ErrConflict)
	}
	before := *j
	if err := change(j); err != nil {
		return err
	}
	if j.ID != before.ID || j.Apprentice != before.Apprentice || j.Task != before.Task || !j.CreatedAt.Equal(before.CreatedAt) {
		return fmt.Errorf("job %s: id, apprentice, task and the time it was asked for stay: %w", id, ErrConflict)
	}
	if j.Status == JobSigned {
		return fmt.Errorf("job %s is signed by its sign-off and not otherwise: %w", id, ErrConflict)
	}
	if !before.Active() {
		if err := t.oneActive(j); err != nil {
			return err
		}
	}
	sealed, err := t.sealJob(j)
	if err != nil {
		return err
	}
	_, err = t.exec(`
			UPDATE jobs SET supervisor = $1, vehicle = $2, programme = $3, site_id = $4, bay = $5, setting = $6, difficulty = $7, status = $8,
				started_at = $9, finished_at = $10, personal = $11, planned_at = $12, asked_of = $13, accepted_at = $14, paused_at = $15, paper_end = $16 WHERE id = $17`,
		j.Supervisor, j.Vehicle, j.Programme, j.Site, j.Bay, j.Setting, j.Difficulty, string(j.Status),
		millis(j.StartedAt), millis(j.FinishedAt), sealed, millis(j.PlannedAt), j.AskedOf, millis(j.AcceptedAt), millis(j.PausedAt), millis(j.PaperEnd), id)
	return err
}

// jobColumns: a job is signed if its sign-off is in the ledger, whatever the draft says.
const jobColumns = `
	SELECT j.id, j.apprentice, j.task, j.supervisor, j.vehicle, j.programme, j.site_id, j.bay, j.setting, j.difficulty,
		CASE WHEN g.entry_id IS NULL THEN j.status ELSE 'signed' END,
		j.created_at, j.started_at, j.finished_at, COALESCE(g.entry_id, ''), j.personal, j.number, j.planned_at, j.asked_of, j.accepted_at, j.paused_at, j.paper_end
	FROM jobs j LEFT JOIN signed_jobs g ON g.job_id = j.id`

func (s *Store) scanJob(q querier, r interface{ Scan(...any) error }) (*Job, []byte, error) {
	var j Job
	var created, started, finished, planned, acceptedAt, paused, paper int64
	var sealed []byte
	err := r.Scan(&j.ID, &j.Apprentice, &j.Task, &j.Supervisor, &j.Vehicle, &j.Programme, &j.Site, &j.Bay, &j.Setting, &j.Difficulty,
		&j.Status, &created, &started, &finished, &j.SignOff, &sealed,
		&j.Number, &planned, &j.AskedOf, &acceptedAt, &paused, &paper)
	j.CreatedAt, j.StartedAt, j.FinishedAt = ms(created), ms(started), ms(finished)
	j.PlannedAt, j.AcceptedAt, j.PausedAt, j.PaperEnd = ms(planned), ms(acceptedAt), ms(paused), ms(paper)
	return &j, sealed, err
}

// openJob opens what is sealed of a job; an erased apprentice's stays empty.
func (s *Store) openJob(q querier, j *Job, sealed []byte) error {
	aead, err := s.draftKey(q, j.Apprentice)
	if aead == nil || err != nil {
		return err
	}
	b, err := openWith(aead, sealed, draftAD(j.ID))
	if err != nil {
		return fmt.Errorf("job %s: %w", j.ID, err)
	}
	var p jobPersonal
	if err := json.Unmarshal(b, &p); err != nil {
		return fmt.Errorf("job %s: %w", j.ID, err)
	}
	j.Car, j.WorkOrder, j.Note = p.Car, p.WorkOrder, p.Note
	return nil
}

// draftKey is a person's data key, nil without the key file or after an erasure.
func (s *Store) draftKey(q querier, person string) (cipher.AEAD, error) {
	aead, err := s.dataKey(q, person)
	if errors.Is(err, ErrNoKeyFile) || errors.Is(err, ErrNotFound) {
		return nil, nil
	}
	return aead, err
}

func (s *Store) loadJob(q querier, id string) (*Job, error) {
	j, sealed, err := s.scanJob(q, q.row(jobColumns+` WHERE j.id = $1`, id))
	if err != nil {
		return nil, fmt.Errorf("job %s: %w", id, missing(err))
	}
	return j, s.openJob(q, j, sealed)
}

func (s *Store) job(ctx context.Context, id string) (*Job, error) {
	var j *Job
	err := s.read(ctx, func(q querier) (err error) {
		j, err = s.loadJob(q, id)
		return err
	})
	if err != nil {
		return nil, err
	}
	return j, nil
}

func (s *Store) jobByNumber(ctx context.Context, number int) (*Job, error) {
	var j *Job
	err := s.read(ctx, func(q querier) error {
		var id string
		if err := missing(q.row(`SELECT id FROM jobs WHERE number = $1`, number).Scan(&id)); err != nil {
			return fmt.Errorf("job number %d: %w", number, err)
		}
		var err error
		j, err = s.loadJob(q, id)
		return err
	})
	return j, err
}

func (s *Store) jobs(ctx context.Context, f JobFilter) ([]*Job, error) {
	var where []string
	var args []any
	arg := func(v any) string {
		args = append(args, v)
		return fmt.Sprintf("$%d", len(args))
	}
	for _, c := range []struct{ column, value string }{{"apprentice", f.Apprentice}, {"supervisor", f.Supervisor}, {"site_id", f.Site}, {"task", f.Task}} {
		if c.value != "" {
			where = append(where, `j.`+c.column+` = `+arg(c.value))
		}
	}
	if len(f.Status) > 0 {
		var in []string
		for _, st := range f.Status {
			if st == JobSigned {
				in = append(in, `g.entry_id IS NOT NULL`)
			} else {
				in = append(in, `(g.entry_id IS NULL AND j.status = `+arg(string(st))+`)`)
			}
		}
		where = append(where, `(`+strings.Join(in, ` OR `)+`)`)
	}
	query := jobColumns
	if len(where) > 0 {
		query += ` WHERE ` + strings.Join(where, ` AND `)
	}
	query += ` ORDER BY j.created_at DESC, j.id DESC`
	if f.Limit > 0 {
		query += ` LIMIT ` + arg(f.Limit)
	}
	type sealedJob struct {
		*Job
		sealed []byte
	}
	var all []*Job
	err := s.read(ctx, func(q querier) error {
		rows, err := collect(q, func(r *sql.Rows) (sealedJob, error) {
			j, sealed, err := s.scanJob(q, r)
			return sealedJob{j, sealed}, err
		}, query, args...)
		if err != nil {
			return err
		}
		for _, j := range rows {
			if err := s.openJob(q, j.Job, j.sealed); err != nil {
				return err
			}
			all = append(all, j.Job)
		}
		return nil
	})
	return all, err
}

func (s *Store) addTaps(ctx context.Context, job string, taps []Tap, change func(*Job, []Tap) error) error {
	for _, x := range taps {
		if x.ID == "" {
			return errors.New("add taps: each needs an id")
		}
	}
	return s.write(ctx, func(t *tx) error {
		j, err := s.loadJob(t, job)
		if err != nil {
			return err
		}
		if j.Status == JobSigned || j.Status == JobWithdrawn {
			return fmt.Errorf("job %s is %s: %w", job, j.Status, ErrConflict)
		}
		aead, err := s.dataKey(t, j.Apprentice)
		if err != nil {
			return err
		}
		for _, x := range taps {
			if err := t.addTap(job, x, aead); err != nil {
				return err
			}
		}
		if change == nil {
			return nil
		}
		all, err := tapsOf(t, job, aead)
		if err != nil {
			return err
		}
		return t.changeJob(job, func(j *Job) error { return change(j, all) })
	})
}

func photoAD(job, tap string) []byte { return draftAD("photo\n" + job + "\n" + tap) }

func (s *Store) addPhoto(ctx context.Context, job string, tap Tap, jpeg []byte) error {
	if tap.ID == "" || len(jpeg) == 0 {
		return errors.New("add a photograph: id and bytes are needed")
	}
	return s.write(ctx, func(t *tx) error {
		j, err := s.loadJob(t, job)
		if err != nil {
			return err
		}
		if j.Status == JobSigned || j.Status == JobWithdrawn {
			return fmt.Errorf("job %s is %s: %w", job, j.Status, ErrConflict)
		}
		aead, err := s.dataKey(t, j.Apprentice)
		if err != nil {
			return err
		}
		sealed, err := sealWith(s.random, aead, jpeg, photoAD(job, tap.ID))
		if err != nil {
			return err
		}
		if _, err := t.exec(`INSERT INTO photos (job_id, id, sealed) VALUES ($1, $2, $3) ON CONFLICT (job_id, id) DO NOTHING`, job, tap.ID, sealed); err != nil {
			return err
		}
		return t.addTap(job, tap, aead)
	})
}

func (s *Store) photo(ctx context.Context, job, tap string) ([]byte, error) {
	var jpeg []byte
	err := s.read(ctx, func(q querier) error {
		var apprentice string
		var sealed []byte
		err := missing(q.row(`SELECT j.apprentice, p.sealed FROM photos p JOIN jobs j ON j.id = p.job_id WHERE p.job_id = $1 AND p.id = $2`, job, tap).Scan(&apprentice, &sealed))
		if err != nil {
			return fmt.Errorf("photograph %s of job %s: %w", tap, job, err)
		}
		aead, err := s.draftKey(q, apprentice)
		if err != nil {
			return err
		}
		if aead == nil {
			return fmt.Errorf("photograph %s of job %s: %w", tap, job, ErrNotFound)
		}
		jpeg, err = openWith(aead, sealed, photoAD(job, tap))
		return err
	})
	return jpeg, err
}

func (t *tx) addTap(job string, x Tap, aead cipher.AEAD) error {
	personal := tapPersonal{x.WhatHappened, x.Reason, x.Note}
	x.WhatHappened, x.Reason, x.Note = "", "", ""
	sealed := []byte{}
	if personal != (tapPersonal{}) {
		b, err := json.Marshal(personal)
		if err != nil {
			return err
		}
		if sealed, err = sealWith(t.s.random, aead, b, draftAD(job+"\n"+x.ID)); err != nil {
			return err
		}
	}
	b, err := json.Marshal(x)
	if err != nil {
		return err
	}
	_, err = t.exec(`
		INSERT INTO taps (job_id, seq, id, tap, personal)
		SELECT $1, COALESCE(MAX(seq), 0) + 1, $2, $3, $4 FROM taps WHERE job_id = $1
		ON CONFLICT (job_id, id) DO NOTHING`, job, x.ID, string(b), sealed)
	return err
}

func (s *Store) taps(ctx context.Context, job string) ([]Tap, error) {
	var all []Tap
	err := s.read(ctx, func(q querier) error {
		var apprentice string
		if err := missing(q.row(`SELECT apprentice FROM jobs WHERE id = $1`, job).Scan(&apprentice)); err != nil {
			return fmt.Errorf("job %s: %w", job, err)
		}
		aead, err := s.draftKey(q, apprentice)
		if err != nil {
			return err
		}
		all, err = tapsOf(q, job, aead)
		return err
	})
	return all, err
}

// tapsOf reads a job's taps; what is personal in them stays empty without its key.
func tapsOf(q querier, job string, aead cipher.AEAD) ([]Tap, error) {
	return collect(q, func(r *sql.Rows) (x Tap, err error) {
		var b, sealed []byte
		if err := r.Scan(&b, &sealed); err != nil {
			return x, err
		}
		if err := json.Unmarshal(b, &x); err != nil {
			return x, err
		}
		x.Job = job
		if len(sealed) == 0 || aead == nil {
			return x, nil
		}
		open, err := openWith(aead, sealed, draftAD(job+"\n"+x.ID))
		if err != nil {
			return x, fmt.Errorf("tap %s of job %s: %w", x.ID, job, err)
		}
		var p tapPersonal
		err = json.Unmarshal(open, &p)
		x.WhatHappened, x.Reason, x.Note = p.WhatHappened, p.Reason, p.Note
		return x, err
	}, `SELECT tap, personal FROM taps WHERE job_id = $1 ORDER BY seq`, job)
}
