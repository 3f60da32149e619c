package server

import (
	"encoding/json"
	"time"

	"brakewright/server/acts"
	"brakewright/server/say"
	"brakewright/store"
	"brakewright/store/ledger"
)

// What follows a signed entry, what waits for a decision, and keys.

// apiWord is a later entry about an earlier one.
type apiWord struct {
	ID         string `json:"id"`
	Index      int64  `json:"index"`
	Type       string `json:"type"`
	Actor      string `json:"actor"`
	RecordedAt string `json:"recorded_at"`
	Reason     string `json:"reason"` // or the text of a reply; "" if it gives none
}

// apiEntryLine is an entry of a record.
type apiEntryLine struct {
	Index      int64             `json:"index"`
	ID         string            `json:"id"`
	Type       string            `json:"type"`
	HappenedAt string            `json:"happened_at"`
	RecordedAt string            `json:"recorded_at"`
	Actor      string            `json:"actor"`
	Subject    string            `json:"subject"`
	Site       string            `json:"site"`
	Corrects   string            `json:"corrects"`
	Payload    any               `json:"payload"`
	Personal   map[string]string `json:"personal"`         // opened
	Closed     []string          `json:"closed,omitempty"` // erased
	Signed     bool              `json:"signed"`
}

func lineOf(e *store.EntryView) apiEntryLine {
	b := e.Entry.Body
	return apiEntryLine{e.Index, b.ID, string(b.Type), timeText(time.UnixMilli(b.HappenedAt)), timeText(time.UnixMilli(e.Entry.RecordedAt)), b.Actor, b.Subject, b.Site, b.Corrects,
		payloadShown(b), e.Personal, e.Closed, len(e.Entry.Signatures) > 0}
}

// payloadShown is an entry's payload as anybody may read it: without the seed that entries about theory tests once told, of
// which the form, keys included, can be made.
func payloadShown(b ledger.Body) any {
	var fields map[string]json.RawMessage
	if b.Type != ledger.TestIssued || json.Unmarshal(b.Payload, &fields) != nil {
		return b.Payload
	}
	delete(fields, "seed")
	return fields
}

// apiEntry is one entry with what has become of it.
func apiEntry(c *apiCall) (apiAnswer, error) {
	e, err := c.acts.Entry(c.ctx(), c.actor, c.v("entry"))
	if err != nil {
		return apiAnswer{}, err
	}
	out := struct {
		apiEntryLine
		Words            []apiWord `json:"words"`
		Contested        bool      `json:"contested"`         // disputed, contradicting or in question, and not settled
		CountersignUntil string    `json:"countersign_until"` // "" where there is nothing to countersign
	}{apiEntryLine: lineOf(e), Words: []apiWord{}}
	words, err := c.server.store.WordsOn(c.ctx(), c.v("entry"))
	if err != nil {
		return apiAnswer{}, err
	}
	for _, w := range words {
		later, err := c.server.store.Entry(c.ctx(), w.ID)
		if err != nil {
			return apiAnswer{}, err
		}
		reason := later.Personal["reason"]
		if w.Type == ledger.Replied {
			reason = later.Personal["text"]
		}
		out.Words = append(out.Words, apiWord{w.ID, w.Index, string(w.Type), later.Entry.Body.Actor, timeText(time.UnixMilli(later.Entry.RecordedAt)), reason})
	}
	open, err := c.server.store.Contested(c.ctx(), c.v("entry"))
	if err != nil {
		return apiAnswer{}, err
	}
	out.Contested = len(open) > 0
	if acts.Recorded(e) != nil {
		if out.CountersignUntil, err = c.acts.CountersignUntil(c.ctx(), e); err != nil {
			return apiAnswer{}, err
		}
	}
	return ok(out)
}

func apiCountersign(c *apiCall) (apiAnswer, error) {
	var in struct {
		Passphrase string `json:"passphrase"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.Countersign(c.ctx(), c.actor, c.id, c.v("entry"), in.Passphrase))
}

func apiReply(c *apiCall) (apiAnswer, error) {
	var in struct {
		Text string `json:"text"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.Reply(c.ctx(), c.actor, c.id, c.v("entry"), in.Text))
}

func apiDispute(c *apiCall) (apiAnswer, error) {
	var in struct {
		Reason string `json:"reason"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.Dispute(c.ctx(), c.actor, c.id, c.v("entry"), in.Reason))
}

func apiSettle(c *apiCall) (apiAnswer, error) {
	var in struct {
		Upheld     bool   `json:"upheld"` // nothing of the entry counts any more
		Stands     string `json:"stands"` // of corrections that contradict each other
		Reason     string `json:"reason"`
		Passphrase string `json:"passphrase"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.Settle(c.ctx(), c.actor, acts.Settlement{ID: c.id, Entry: c.v("entry"), Upheld: in.Upheld, Stands: in.Stands, Reason: in.Reason, Passphrase: in.Passphrase}))
}

func apiCorrect(c *apiCall) (apiAnswer, error) {
	var in struct {
		Withdraw bool `json:"withdraw"`
		Record   struct {
			Outcome    *string `json:"outcome"`
			Difficulty *string `json:"difficulty"`
			NearMiss   *bool   `json:"near_miss"`
			Notes      *string `json:"notes"`
			Steps      []struct {
				Step          string `json:"step"`
				Result        string `json:"result"`
				CriticalError bool   `json:"critical_error"`
				WhatHappened  string `json:"what_happened"`
			} `json:"steps"`
			Readings []struct {
				Step       string `json:"step"`
				Measure    int    `json:"measure"`
				Value      string `json:"value"` // "": it was not taken
				Unit       string `json:"unit"`
				Instrument string `json:"instrument"`
			} `json:"readings"`
		} `json:"record"`
		Beside     bool         `json:"beside"`
		Reason     string       `json:"reason"`
		Passphrase string       `json:"passphrase"`
		Decision   *apiDecision `json:"critical_decision"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	q := acts.Correction{ID: c.id, Entry: c.v("entry"), Withdraw: in.Withdraw, Beside: in.Beside, Reason: in.Reason, Passphrase: in.Passphrase,
		Changes: acts.RecordChanges{Outcome: in.Record.Outcome, Difficulty: in.Record.Difficulty, NearMiss: in.Record.NearMiss, Notes: in.Record.Notes}}
	for _, x := range in.Record.Steps {
		q.Changes.Steps = append(q.Changes.Steps, acts.StepChange{Step: x.Step, Result: x.Result, CriticalError: x.CriticalError, WhatHappened: x.WhatHappened})
	}
	for _, x := range in.Record.Readings {
		q.Changes.Readings = append(q.Changes.Readings, acts.ReadingChange{Step: x.Step, Measure: x.Measure, Value: x.Value, Unit: x.Unit, Instrument: x.Instrument})
	}
	if in.Decision != nil {
		q.Decision = &acts.CriticalDecision{StandDown: in.Decision.StandDown, Reason: in.Decision.Reason}
	}
	return receipt(c.acts.Correct(c.ctx(), c.actor, q))
}

func apiReviewStandDown(c *apiCall) (apiAnswer, error) {
	var in struct {
		Reason     string `json:"reason"`
		Lifts      string `json:"lifts"`
		Passphrase string `json:"passphrase"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.ReviewStandDown(c.ctx(), c.actor, c.id, c.v("standDown"), in.Reason, in.Lifts, in.Passphrase))
}

func apiRecognise(c *apiCall) (apiAnswer, error) {
	var in struct {
		Apprentice string   `json:"apprentice"`
		Task       string   `json:"task"`
		StandsFor  []string `json:"stands_for"`
		Jobs       int      `json:"jobs"`
		Reason     string   `json:"reason"`
		Passphrase string   `json:"passphrase"`
		Second     struct {
			Login      string `json:"login"`
			Passphrase string `json:"passphrase"`
		} `json:"second"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.Recognise(c.ctx(), c.actor, acts.Recognition{ID: c.id, Apprentice: in.Apprentice, Task: in.Task, StandsFor: in.StandsFor, Jobs: in.Jobs,
		Reason: in.Reason, Passphrase: in.Passphrase, SecondLogin: in.Second.Login, SecondPassphrase: in.Second.Passphrase}))
}

func apiAssign(c *apiCall) (apiAnswer, error) {
	var in struct {
		Matter string `json:"matter"`
		To     string `json:"to"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.Assign(c.ctx(), c.actor, c.id, in.Matter, in.To))
}

// apiMatter is something that waits for a decision.
type apiMatter struct {
	Entry    string         `json:"entry"`
	Type     string         `json:"type"`
	About    apiPersonName  `json:"about"`
	Task     string         `json:"task"`
	Opened   string         `json:"opened"` // the entry that opened it
	Why      string         `json:"why"`    // its type
	Since    string         `json:"since"`
	Due      string         `json:"due"` // "" where the policy says nothing
	Overdue  bool           `json:"overdue"`
	Unsigned bool           `json:"unsigned"`
	Owner    *apiPersonName `json:"owner"` // null where nobody was asked to see to it
	May      bool           `json:"may"`
}

func mattersOf(ms []acts.Matter) []apiMatter {
	out := make([]apiMatter, len(ms))
	for i, m := range ms {
		o := m.Opened.Entry
		out[i] = apiMatter{m.Entry.Entry.Body.ID, string(m.Entry.Entry.Body.Type), nameOf(m.About), m.Task, o.Body.ID, string(o.Body.Type), timeText(time.UnixMilli(o.RecordedAt)), m.Due, m.Overdue, m.Unsigned, nil, m.May}
		if m.Owner != nil {
			n := nameOf(m.Owner)
			out[i].Owner = &n
		}
	}
	return out
}

func apiMatters(c *apiCall) (apiAnswer, error) {
	ms, err := c.acts.Matters(c.ctx(), c.actor)
	if err != nil {
		return apiAnswer{}, err
	}
	return ok(struct {
		Disputes   []apiMatter `json:"disputes"`
		StandDowns []apiMatter `json:"stand_downs"`
	}{mattersOf(ms.Disputes), mattersOf(ms.StandDowns)})
}

func apiPairs(c *apiCall) (apiAnswer, error) {
	pairs, err := c.acts.Pairs(c.ctx(), c.actor)
	if err != nil {
		return apiAnswer{}, err
	}
	type pair struct {
		By         apiPersonName `json:"by"`
		Apprentice apiPersonName `json:"apprentice"`
		Jobs       int           `json:"jobs"`
		Mutual     bool          `json:"mutual"`
	}
	out := make([]pair, len(pairs))
	for i, p := range pairs {
		out[i] = pair{nameOf(p.By), nameOf(p.Apprentice), p.Jobs, p.Mutual}
	}
	return ok(out)
}

func apiLeftBehind(c *apiCall) (apiAnswer, error) {
	left, err := c.acts.LeftBehind(c.ctx(), c.actor)
	if err != nil {
		return apiAnswer{}, err
	}
	type behind struct {
		Supervisor apiPersonName `json:"supervisor"`
		Until      string        `json:"until"`
		Jobs       []string      `json:"jobs"`
		Matters    []apiMatter   `json:"matters"`
	}
	out := make([]behind, len(left))
	for i, x := range left {
		out[i] = behind{nameOf(x.Supervisor), x.Until, []string{}, mattersOf(x.Matters)}
		for _, j := range x.Jobs {
			out[i].Jobs = append(out[i].Jobs, j.ID)
		}
	}
	return ok(out)
}

func apiWaivers(c *apiCall) (apiAnswer, error) {
	all, err := c.acts.Waivers(c.ctx(), c.actor)
	if err != nil {
		return apiAnswer{}, err
	}
	type waiver struct {
		Entry   string        `json:"entry"`
		Index   int64         `json:"index"`
		About   apiPersonName `json:"about"`
		Task    string        `json:"task"`
		At      string        `json:"at"`
		Gates   []string      `json:"gates"` // set aside; empty: open gates, less sure than asked
		Until   string        `json:"until"` // "" if open
		Reason  string        `json:"reason"`
		By      []string      `json:"by"` // names of the two who signed
		Running bool          `json:"running"`
		Verdict string        `json:"verdict"` // hash of the verdict shown
	}
	names := c.server.nameBook()
	out := make([]waiver, len(all))
	for i, w := range all {
		by, err := signers(c.ctx(), names, w.Entry)
		if err != nil {
			return apiAnswer{}, err
		}
		out[i] = waiver{w.Entry.Entry.Body.ID, w.Entry.Index, nameOf(w.About), w.Payload.Task, timeText(time.UnixMilli(w.Entry.Entry.Body.HappenedAt)), list(w.Payload.Waiver.Gates),
			waiverEnd(w.Payload), w.Entry.Personal["reason"], list(by), w.Running, w.Payload.Content["verdict"]}
	}
	return ok(out)
}

// keyEnd reads how a key ends and ends it.
func keyEnd(c *apiCall, person string) (apiAnswer, error) {
	var in struct {
		Key    string `json:"key"` // "" is the key under a passphrase or, without one, the only passkey
		Why    string `json:"why"`
		From   string `json:"from"`
		Reason string `json:"reason"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.EndKey(c.ctx(), c.actor, acts.KeyEnd{ID: c.id, Person: person, Key: in.Key, Why: in.Why, From: in.From, Reason: in.Reason}))
}

func apiEndOwnKey(c *apiCall) (apiAnswer, error) { return keyEnd(c, c.actor.ID) }
func apiEndKey(c *apiCall) (apiAnswer, error)    { return keyEnd(c, c.v("person")) }

func apiKeysOf(c *apiCall) (apiAnswer, error) {
	keys, err := c.acts.KeysOf(c.ctx(), c.actor, c.v("person"))
	if err != nil {
		return apiAnswer{}, err
	}
	type key struct {
		ID      string `json:"id"`
		Alg     string `json:"alg"`
		AddedAt string `json:"added_at"`
		EndedAt string `json:"ended_at"` // "" while in force
		Why     string `json:"why"`
		Meaning string `json:"meaning"` // of why, in words
	}
	out := make([]key, len(keys))
	for i, k := range keys {
		out[i] = key{k.ID, k.Alg, timeText(k.AddedAt), "", k.Why, ""}
		if k.Why != "" {
			out[i].EndedAt, out[i].Meaning = timeText(k.EndedAt), say.KeyEnd(k.Why)
		}
	}
	return ok(out)
}
