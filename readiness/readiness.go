// Package readiness says where an apprentice stands with a task and why: gates that no probability can buy off, and a
// probability that the next unsupervised job goes without a critical error. It is pure: evidence, policy, parameters
// and a date in, a verdict out; the same inputs give the same bytes on every machine. Shapes: contracts.md sections 4
// and 6. It says nothing in words: reasons are codes with arguments.
package readiness

// Verdict is where one apprentice stands with one task on one date. Its JSON is one line of `assess --format jsonl`.
// Numbers are already rounded: probabilities to 0.001.
type Verdict struct {
	Apprentice  string   `json:"apprentice"`
	Task        string   `json:"task"`
	AsOf        string   `json:"as_of"` // YYYY-MM-DD
	Probability float64  `json:"probability"`
	Low         float64  `json:"low"`        // 5 % point of the posterior
	High        float64  `json:"high"`       // 95 % point
	Confidence  float64  `json:"confidence"` // P(chance ≥ target)
	Gates       []Gate   `json:"gates"`
	Ready       bool     `json:"ready"`
	Standing    Standing `json:"standing"`
	Parameters  string   `json:"parameters"`        // SHA-256 (hex) of the snapshot's JSON
	Reasons     []Reason `json:"reasons,omitempty"` // with Explain
	Next        []Reason `json:"next,omitempty"`    // with Explain: the next acts, the nearest first
	Notes       Notes    `json:"-"`
}

// Notes is what pages show beside the standing; not part of the wire format.
type Notes struct {
	ClearedSince string         // date of the clearance in force, else ""
	ClearedUntil string         // its end, or the end of its waiver, else ""
	LapsesOn     string         // when it lapses if nothing happens, else ""
	Limits       map[string]any // of the clearance in force
	Waived       bool           // the clearance in force sets a gate aside or goes below the policy's confidence
	Warnings     []Reason       // falling probability, disputed sign-off, critical error after clearance, unsigned stand-down
	StoodDownOn  string
	LastJob      string // date of the last job of the task, else ""
}

// Gate is one gate with its state. Why is a code of the catalogue of reasons.
type Gate struct {
	Gate string            `json:"gate"`
	OK   bool              `json:"ok"`
	Why  string            `json:"why"`
	Args map[string]string `json:"args,omitempty"`
}

// GateNames are all gates in their order.
var GateNames = []string{"induction", "reading", "theory_test", "critical_steps", "jobs", "supervisors", "layouts", "recency", "critical_error", "prerequisites"}

// Reason is a code with arguments; Text is filled by whoever says it (server/say), never here.
type Reason struct {
	Code string            `json:"code"`
	Args map[string]string `json:"args"`
	Text string            `json:"text"`
}

// Standing is what the records say of an apprentice and a task.
type Standing string

const (
	Untried          Standing = "untried"
	Building         Standing = "building"
	ReadyForDecision Standing = "ready_for_decision"
	Cleared          Standing = "cleared"
	Lapsed           Standing = "lapsed"
	StoodDown        Standing = "stood_down"
)

// Options of Assess.
type Options struct {
	NoGates bool // Gates is empty, Ready is confidence alone
	Explain bool // fill Reasons and Next
}
