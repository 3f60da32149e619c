package server

import (
	"net/http"
	"time"

	"brakewright/server/acts"
	"brakewright/store"
	"brakewright/store/ledger"
)

func apiSpotCheck(c *apiCall) (apiAnswer, error) {
	var in struct {
		Apprentice string       `json:"apprentice"`
		Task       string       `json:"task"`
		Of         string       `json:"of"` // entry of the job
		Finding    string       `json:"finding"`
		Car        string       `json:"car"`
		WorkOrder  string       `json:"work_order"`
		Notes      string       `json:"notes"`
		Passphrase string       `json:"passphrase"`
		Decision   *apiDecision `json:"critical_decision"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.SpotCheck(c.ctx(), c.actor, acts.SpotCheckRequest{ID: c.id, Apprentice: in.Apprentice, Task: in.Task, Of: in.Of, Finding: in.Finding,
		Car: in.Car, WorkOrder: in.WorkOrder, Notes: in.Notes, Passphrase: in.Passphrase, Decision: in.Decision.act()}))
}

// apiWork is a job's entry as a case names it.
type apiWork struct {
	Entry      string `json:"entry"`
	Type       string `json:"type"`
	Apprentice string `json:"apprentice"`
	HappenedAt string `json:"happened_at"`
	Payload    any    `json:"payload"`
	WorkOrder  string `json:"work_order"`
}

func workOf(e *store.EntryView) apiWork {
	b := e.Entry.Body
	return apiWork{b.ID, string(b.Type), b.Subject, timeText(time.UnixMilli(b.HappenedAt)), b.Payload, e.Personal["work_order"]}
}

// apiFindWork finds what was done on a car, by plate, work order or job number.
func apiFindWork(c *apiCall) (apiAnswer, error) {
	found, err := c.acts.FindWork(c.ctx(), c.actor, c.q("q"))
	if err != nil {
		return apiAnswer{}, err
	}
	lines := make([]apiWork, len(found))
	for i, e := range found {
		lines[i] = workOf(e)
	}
	return ok(lines)
}

func apiOpenCase(c *apiCall) (apiAnswer, error) {
	var in struct {
		Jobs       []string `json:"jobs"` // entries
		Apprentice string   `json:"apprentice"`
		Task       string   `json:"task"`
		Car        string   `json:"car"`
		WorkOrder  string   `json:"work_order"`
		Complaint  string   `json:"complaint"`
		Notes      string   `json:"notes"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.OpenCase(c.ctx(), c.actor, acts.CaseRequest{ID: c.id, Jobs: in.Jobs, Apprentice: in.Apprentice, Task: in.Task, Car: in.Car, WorkOrder: in.WorkOrder,
		Complaint: in.Complaint, Notes: in.Notes}))
}

// apiCase is a car that came back.
type apiCaseLine struct {
	ID         string        `json:"id"` // of the entry that opened it
	Apprentice apiPersonName `json:"apprentice"`
	Task       string        `json:"task"`
	Site       *string       `json:"site"`
	Car        string        `json:"car"`
	WorkOrder  string        `json:"work_order"`
	Complaint  string        `json:"complaint"`
	OpenedAt   string        `json:"opened_at"`
	Open       bool          `json:"open"`
	Finding    *string       `json:"finding"` // null while open
}

type apiCaseWhole struct {
	apiCaseLine
	Notes string    `json:"notes"`
	Jobs  []apiWork `json:"jobs"`
	Found string    `json:"found"` // what was found
}

func caseLineOf(v *acts.CaseView) apiCaseLine {
	l := apiCaseLine{ID: v.Case.Entry, Apprentice: nameOf(v.Apprentice), Task: v.Case.Task, Site: orNull(v.Case.Site), Car: carWords(v.Opened.Personal["car"]),
		WorkOrder: v.Opened.Personal["work_order"], Complaint: v.Opened.Personal["what_happened"], OpenedAt: timeText(time.UnixMilli(v.Opened.Entry.Body.HappenedAt)), Open: v.Closed == nil}
	if v.Closed != nil {
		if x, ok := payloadOf(v.Closed).(*ledger.ReturnPayload); ok {
			l.Finding = orNull(x.Finding)
		}
	}
	return l
}

func apiCases(c *apiCall) (apiAnswer, error) {
	all, err := c.acts.Cases(c.ctx(), c.actor, c.q("open") == "true")
	if err != nil {
		return apiAnswer{}, err
	}
	lines := make([]apiCaseLine, len(all))
	for i := range all {
		lines[i] = caseLineOf(&all[i])
	}
	return ok(lines)
}

func apiCase(c *apiCall) (apiAnswer, error) {
	v, err := c.acts.Case(c.ctx(), c.actor, c.v("case"))
	if err != nil {
		return apiAnswer{}, err
	}
	out := apiCaseWhole{apiCaseLine: caseLineOf(v), Notes: v.Opened.Personal["notes"], Jobs: []apiWork{}}
	for _, e := range v.Jobs {
		out.Jobs = append(out.Jobs, workOf(e))
	}
	if v.Closed != nil {
		out.Found = v.Closed.Personal["what_happened"]
	}
	return apiAnswer{Status: http.StatusOK, Body: out}, nil
}

func apiCloseCase(c *apiCall) (apiAnswer, error) {
	var in struct {
		Finding    string       `json:"finding"`
		What       string       `json:"what"`
		Passphrase string       `json:"passphrase"`
		Decision   *apiDecision `json:"critical_decision"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.CloseCase(c.ctx(), c.actor, acts.FindingRequest{ID: c.id, Case: c.v("case"), Finding: in.Finding, What: in.What, Passphrase: in.Passphrase, Decision: in.Decision.act()}))
}
