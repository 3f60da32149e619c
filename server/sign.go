package server

import (
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/gorilla/mux"

	"brakewright/server/acts"
	"brakewright/server/say"
	"brakewright/store"
)

func (s *Server) registerSignRoutes(r *mux.Router) {
	s.get(r, "/sign", s.showSign)
	s.post(r, "/sign", s.sign)
}

// signPage shows what will be signed in plain words, job by job, and asks for one passphrase.
type signPage struct {
	BasePage
	Jobs     []signJob
	Decide   bool   // a cleared apprentice made a critical error: the signer decides then and there
	DecideOn string // who it is about
	Late     bool   // past the policy's window
	NoKey    bool
	Waiting  bool // the key waits for a coordinator
}

type signJob struct {
	ID, Entry        string
	Path             string
	Apprentice, Task string
	Car              string
	Statement        []statementLine
	Chosen           bool
	Critical         bool
}

func (signPage) template() string { return "sign" }

func (s *Server) showSign(w http.ResponseWriter, r *http.Request) error {
	return s.signForm(w, r, r.URL.Query()["job"], nil, nil)
}

// signForm shows the jobs that wait for the signature of who asks; chosen ones are ticked (all, if none is named).
func (s *Server) signForm(w http.ResponseWriter, r *http.Request, chosen []string, f url.Values, problem error) error {
	ctx, me := r.Context(), personFrom(r.Context())
	b, err := s.base(r, "Sign")
	if err != nil {
		return err
	}
	status := http.StatusOK
	page := signPage{NoKey: !me.CanSign(), Waiting: me.KeyWaiting}
	if problem != nil {
		if status, err = b.refused(w, problem, "passphrase", "decision", "decision_reason", "late_reason", "second_login", "second_passphrase"); err != nil {
			return err
		}
		code := failureOf(problem).code
		page.Late = code == "late_second_needed" || code == "paper_second_needed" || f.Get("late") != ""
		page.Decide = f.Get("decide") != "" || code == "decision_needed"
	}
	for _, k := range []string{"decision", "decision_reason", "late_reason", "second_login"} {
		if f.Has(k) {
			b.set(k, f.Get(k))
		}
	}
	jobs, err := s.acts.Jobs(ctx, me, store.JobFilter{Supervisor: me.ID, Status: []store.JobStatus{store.JobFinished}, Limit: 100})
	if err != nil {
		return err
	}
	for i := len(jobs) - 1; i >= 0; i-- {
		j := jobs[i]
		lines, err := s.acts.Statement(ctx, me, j.Job.ID)
		if err != nil {
			return err
		}
		x := signJob{ID: j.Job.ID, Entry: newID(), Path: "/jobs/" + j.Job.ID, Apprentice: personName(j.Apprentice), Statement: statementLines(b.clock, lines),
			Chosen: len(chosen) == 0 || slices.Contains(chosen, j.Job.ID)}
		if j.Task != nil {
			x.Task = j.Task.Title
		}
		if v := f.Get("entry-" + j.Job.ID); v != "" {
			x.Entry = v
		}
		if x.Critical, err = s.acts.NeedsDecision(ctx, me, j.Job.ID); err != nil {
			return err
		}
		if x.Chosen && !j.Job.PaperEnd.IsZero() {
			page.Late = true
		}
		if x.Critical && x.Chosen {
			page.Decide, page.DecideOn = true, x.Apprentice
		}
		page.Jobs = append(page.Jobs, x)
	}
	page.BasePage = b
	return s.render(w, r, status, page)
}

func (s *Server) sign(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	f := r.PostForm
	q := acts.SignRequest{Jobs: f["job"], Passphrase: f.Get("passphrase")}
	if len(q.Jobs) == 0 {
		return s.signForm(w, r, []string{"-"}, f, failure{status: http.StatusUnprocessableEntity, code: "nothing_chosen"})
	}
	for _, j := range q.Jobs {
		q.IDs = append(q.IDs, f.Get("entry-"+j))
	}
	if f.Get("decision") != "" {
		q.Decision = &acts.CriticalDecision{StandDown: f.Get("decision") == "stand_down", Reason: f.Get("decision_reason")}
	}
	if f.Get("late") != "" {
		q.Late = &acts.LateSigning{Reason: f.Get("late_reason"), SecondLogin: f.Get("second_login"), SecondPassphrase: f.Get("second_passphrase")}
	}
	if _, err := s.acts.Sign(r.Context(), personFrom(r.Context()), q); err != nil {
		return s.signForm(w, r, q.Jobs, f, err)
	}
	return seeOther(w, r, "/waiting", "signed")
}

// statementLine is one fact of what will be signed, in words.
type statementLine struct {
	Text   string // the whole of it, in words
	Loud   bool
	Head   string   // above Items
	Items  []string // of a line that counts up, nil of others
	Folded bool     // the items unfold on demand
}

// statementLines says the facts, times in the programme's zone: the day once where both lie on it.
func statementLines(c clock, facts []acts.Fact) []statementLine {
	var out []statementLine
	for _, f := range facts {
		args := map[string]string{}
		for k, v := range f.Args {
			if strings.HasSuffix(k, "_at") {
				v = c.iso(v).Text
			}
			if k == "question" {
				v = say.OneLine(v)
			}
			args[k] = v
		}
		if from, to := args["from_at"], args["to_at"]; to != "" {
			if day, _, ok := strings.Cut(from, ", "); ok {
				args["to_at"] = strings.TrimPrefix(to, day+", ")
			}
		}
		line := statementLine{Text: say.Statement(f.Code, args), Loud: f.Loud, Items: f.Items, Folded: f.Folded}
		if len(f.Items) > 0 {
			line.Head = say.StatementHead(f.Code, args)
		}
		out = append(out, line)
	}
	return out
}
