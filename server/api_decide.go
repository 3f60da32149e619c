package server

import (
	"net/http"
	"strconv"

	"brakewright/readiness"
	"brakewright/server/acts"
	"brakewright/server/say"
)

// apiVerdict is a verdict with its words, and the hash under which a clearance may name it as seen.
type apiVerdict struct {
	readiness.Verdict
	Seen  string   `json:"seen"`
	Notes apiNotes `json:"notes"`
}

// apiNotes is what pages show beside the standing. Dates are "" where there is none.
type apiNotes struct {
	ClearedSince string             `json:"cleared_since"`
	ClearedUntil string             `json:"cleared_until"`
	LapsesOn     string             `json:"lapses_on"`
	StoodDownOn  string             `json:"stood_down_on"`
	LastJob      string             `json:"last_job"`
	Waived       bool               `json:"waived"`
	Limits       map[string]any     `json:"limits,omitempty"`
	Warnings     []readiness.Reason `json:"warnings"`
}

func verdictOf(v readiness.Verdict) apiVerdict {
	n := v.Notes
	out := apiVerdict{Verdict: v, Seen: acts.VerdictHash(v), Notes: apiNotes{n.ClearedSince, n.ClearedUntil, n.LapsesOn, n.StoodDownOn, n.LastJob,
		n.Waived, n.Limits, sayReasons(n.Warnings)}}
	out.Reasons, out.Next = sayReasons(v.Reasons), sayReasons(v.Next)
	return out
}

func verdictsOf(vs []readiness.Verdict) []apiVerdict {
	out := make([]apiVerdict, len(vs))
	for i, v := range vs {
		out[i] = verdictOf(v)
	}
	return out
}

// sayReasons returns the reasons with their words.
func sayReasons(rs []readiness.Reason) []readiness.Reason {
	out := make([]readiness.Reason, len(rs))
	for i, r := range rs {
		r.Text = say.Reason(r)
		out[i] = r
	}
	return out
}

func apiStanding(c *apiCall) (apiAnswer, error) {
	vs, err := c.acts.Standings(c.ctx(), c.actor, c.v("apprentice"))
	if err != nil {
		return apiAnswer{}, err
	}
	today, err := c.acts.Today(c.ctx())
	if err != nil {
		return apiAnswer{}, err
	}
	return ok(struct {
		Apprentice string       `json:"apprentice"`
		AsOf       string       `json:"as_of"`
		Standings  []apiVerdict `json:"standings"`
	}{c.v("apprentice"), today, verdictsOf(vs)})
}

func apiSuppose(c *apiCall) (apiAnswer, error) {
	q := c.URL.Query()
	x := readiness.Supposed{Induction: c.q("induction") == "1", TheoryTest: c.q("theory_test") == "1", Lessons: q["lesson"], Prerequisites: q["prerequisite"]}
	for name, to := range map[string]*int{"jobs": &x.Jobs, "other_supervisors": &x.OtherSupervisors, "other_layouts": &x.OtherLayouts} {
		if !q.Has(name) {
			continue
		}
		n, err := strconv.Atoi(c.q(name))
		if err != nil || n < 0 || n > readiness.MaxSupposed {
			return apiAnswer{}, failure{status: http.StatusUnprocessableEntity, code: "supposed_jobs", field: name, args: map[string]string{"most": itoa(readiness.MaxSupposed)}}
		}
		*to = n
	}
	v, err := c.acts.Suppose(c.ctx(), c.actor, c.v("apprentice"), c.v("task"), x)
	if err != nil {
		return apiAnswer{}, err
	}
	return ok(verdictOf(v))
}

func apiBoard(c *apiCall) (apiAnswer, error) {
	b, err := c.acts.Board(c.ctx(), c.actor, acts.BoardFilter{Site: c.q("site"), Cohort: c.q("cohort"), Search: c.q("search"), WithLeft: c.q("left") == "1"})
	if err != nil {
		return apiAnswer{}, err
	}
	type row struct {
		Apprentice apiPersonName `json:"apprentice"`
		Cohort     string        `json:"cohort"`
		Left       bool          `json:"left"`
		Standings  []apiVerdict  `json:"standings"` // in the order of tasks
	}
	out := struct {
		Date  string    `json:"date"`
		Tasks []apiTask `json:"tasks"`
		Rows  []row     `json:"rows"`
	}{b.Date, tasksOf(b.Tasks), []row{}}
	for _, r := range b.Rows {
		out.Rows = append(out.Rows, row{nameOf(r.Apprentice), r.Cohort, r.Left, verdictsOf(r.Cells)})
	}
	return ok(out)
}

func apiFloor(c *apiCall) (apiAnswer, error) {
	layout := c.q("layout")
	if id := c.q("vehicle"); id != "" {
		p, err := c.acts.Programme(c.ctx())
		if err != nil {
			return apiAnswer{}, err
		}
		v := p.Vehicle(id)
		if v == nil {
			return apiAnswer{}, failure{status: http.StatusUnprocessableEntity, code: "unknown_vehicle", field: "vehicle", args: map[string]string{"vehicle": id}}
		}
		layout = v.Layout
	}
	f, err := c.acts.Floor(c.ctx(), c.actor, c.q("task"), layout, c.q("site"))
	if err != nil {
		return apiAnswer{}, err
	}
	type row struct {
		Apprentice apiPersonName      `json:"apprentice"`
		Standing   readiness.Standing `json:"standing"`
		Holds      []string           `json:"holds"` // hold points still watched before release
		Until      string             `json:"until"` // "" if open
		Why        string             `json:"why"`   // code; "" for those who may
	}
	rows := func(rs []acts.FloorRow) []row {
		out := make([]row, len(rs))
		for i, r := range rs {
			out[i] = row{nameOf(r.Apprentice), r.Verdict.Standing, list(r.Holds), r.Until, r.Why}
		}
		return out
	}
	return ok(struct {
		Task   string `json:"task"`
		Layout string `json:"layout"`
		Alone  []row  `json:"alone"`
		Not    []row  `json:"not"`
	}{f.Task, f.Layout, rows(f.Alone), rows(f.Not)})
}

func apiClear(c *apiCall) (apiAnswer, error) {
	var in struct {
		Apprentice string `json:"apprentice"`
		Task       string `json:"task"`
		Limits     struct {
			Layouts []string `json:"layouts"`
			Holds   []string `json:"holds"`
			Site    string   `json:"site"`
			Until   string   `json:"until"`
		} `json:"limits"`
		Until      string `json:"until"` // the same as limits.until
		Reason     string `json:"reason"`
		Passphrase string `json:"passphrase"`
		Seen       string `json:"seen"`
		Waiver     struct {
			Gates []string `json:"gates"`
			Until string   `json:"until"`
		} `json:"waiver"`
		Second struct {
			Login      string `json:"login"`
			Passphrase string `json:"passphrase"`
		} `json:"second"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	until := in.Limits.Until
	if until == "" {
		until = in.Until
	}
	return receipt(c.acts.Clear(c.ctx(), c.actor, acts.ClearanceRequest{
		ID: c.id, Apprentice: in.Apprentice, Task: in.Task, Layouts: in.Limits.Layouts, Holds: in.Limits.Holds, Until: until,
		Site: in.Limits.Site, Reason: in.Reason, Passphrase: in.Passphrase, WaiverGates: in.Waiver.Gates, WaiverUntil: in.Waiver.Until,
		SecondLogin: in.Second.Login, SecondPassphrase: in.Second.Passphrase, Seen: in.Seen,
	}))
}

func apiStandDown(c *apiCall) (apiAnswer, error) {
	var in struct {
		Apprentice string `json:"apprentice"`
		Task       string `json:"task"` // absent: all tasks
		Reason     string `json:"reason"`
		Passphrase string `json:"passphrase"` // absent: unsigned for now, in force all the same
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.StandDown(c.ctx(), c.actor, c.id, in.Apprentice, in.Task, in.Reason, in.Passphrase))
}

func apiSignStandDown(c *apiCall) (apiAnswer, error) {
	var in struct {
		Passphrase string `json:"passphrase"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.SignStandDown(c.ctx(), c.actor, c.id, c.v("standDown"), in.Passphrase))
}

func apiRestore(c *apiCall) (apiAnswer, error) {
	var in struct {
		Apprentice string `json:"apprentice"`
		Task       string `json:"task"`
		Reason     string `json:"reason"`
		Passphrase string `json:"passphrase"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.Restore(c.ctx(), c.actor, c.id, in.Apprentice, in.Task, in.Reason, in.Passphrase))
}
