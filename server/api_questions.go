package server

import (
	"brakewright/quiz"
	"brakewright/server/acts"
	"brakewright/store"
	"brakewright/store/ledger"
)

type apiStatistic struct {
	Question       string       `json:"question"`
	Lesson         string       `json:"lesson"`
	Edition        string       `json:"edition"`
	Family         string       `json:"family"`
	Kind           quiz.Kind    `json:"kind"`
	Stem           string       `json:"stem"`
	Critical       bool         `json:"critical"`
	Asked          int          `json:"asked"`
	Answered       int          `json:"answered"`
	Right          int          `json:"right"`
	RightPercent   int          `json:"right_percent"`
	Discrimination *float64     `json:"discrimination"`
	Choices        []apiChoice  `json:"choices"`
	Doubts         []quiz.Doubt `json:"doubts"`
	Voided         bool         `json:"voided"`
}

type apiChoice struct {
	Text    string `json:"text"`
	Element string `json:"element,omitempty"`
	Right   bool   `json:"right"`
	Chosen  int    `json:"chosen"`
	Percent int    `json:"percent"`
}

func apiQuestions(c *apiCall) (apiAnswer, error) {
	all, err := c.acts.Questions(c.ctx(), c.actor, acts.QuestionFilter{Task: c.q("task"), Lesson: c.q("lesson")})
	if err != nil {
		return apiAnswer{}, err
	}
	out := make([]apiStatistic, len(all))
	for i, x := range all {
		q := &x.Question
		out[i] = apiStatistic{Question: q.ID, Lesson: q.Lesson, Edition: q.Edition, Family: q.Family, Kind: q.Kind, Stem: q.Stem, Critical: q.Critical,
			Asked: x.Asked, Answered: x.Answered, Right: x.Right, RightPercent: x.RightPercent, Discrimination: x.Discrimination,
			Choices: []apiChoice{}, Doubts: append([]quiz.Doubt{}, x.Doubts...), Voided: x.Voided}
		for _, k := range x.Choices {
			out[i].Choices = append(out[i].Choices, apiChoice{k.Text, k.Element, k.Right, k.Chosen, k.Percent})
		}
	}
	return ok(out)
}

// apiVoidRequest is what is to be voided, or to count again.
type apiVoidRequest struct {
	Question string `json:"question"`
	Lesson   string `json:"lesson"`
	Edition  string `json:"edition"` // "": all editions
	Restores bool   `json:"restores"`
}

func (r apiVoidRequest) acts() acts.VoidRequest {
	return acts.VoidRequest{Question: r.Question, Lesson: r.Lesson, Edition: r.Edition, Restores: r.Restores}
}

func apiPreviewVoid(c *apiCall) (apiAnswer, error) {
	var in apiVoidRequest
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	v, err := c.acts.PreviewVoid(c.ctx(), c.actor, in.acts())
	if err != nil {
		return apiAnswer{}, err
	}
	return ok(struct {
		Remarked []ledger.TestRemarked `json:"remarked"`
		Seen     string                `json:"seen"`
	}{v.Remarked, v.Hash})
}

func apiVoid(c *apiCall) (apiAnswer, error) {
	var in struct {
		apiVoidRequest
		Reason     string `json:"reason"`
		Passphrase string `json:"passphrase"`
		Seen       string `json:"seen"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	r := in.acts()
	r.ID, r.Reason, r.Passphrase, r.Seen = c.id, in.Reason, in.Passphrase, in.Seen
	v, receipt, err := c.acts.Void(c.ctx(), c.actor, r)
	if err != nil {
		return apiAnswer{}, err
	}
	return created(struct {
		store.Receipt
		Remarked []ledger.TestRemarked `json:"remarked"`
	}{receipt, v.Remarked})
}
