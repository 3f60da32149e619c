// Package readiness says where an apprentice stands with a task and why: gates that no probability can buy off, and a
// probability that the next unsupervised job goes without a critical error. It is pure: evidence, policy, parameters
// and a date in, a verdict out; the same inputs give the same bytes on every machine. Shapes: DEVELOPERS.md, "Contracts"
// and 6. It says nothing in words: reasons are codes with arguments.
//
// # Where to look
//
//   - evidence.go, catalogue.go, json.go: reading files, every fault named
//   - policy.go, policy_decode.go, parameters.go: what is asked, and what is believed beforehand
//   - resolve.go: corrections and disputes; what counts as evidence on a date
//   - history.go: what counts as a watched job, a clean job, a step seen unaided, a critical failure; days and leave
//   - gates.go: each gate, defined
//   - standing.go: each standing, defined; lapse, stand-down, restore
//   - probability.go: the estimate
//   - explain.go: reasons and the shortest way
//
// Nothing here depends on the order of the input or on what people are called.
//
// # The probability
//
// The chance that a job alone goes without a critical error is taken to be the same for the latest Window jobs that say
// anything, and older jobs are taken to say nothing: apprentices learn, so that an error made long ago does not count
// for ever, and neither does old skill. A clean job (see clean) is a success, a critical failure (see failure) is
// not; anything else says nothing either way. What is left out errs on the side of less evidence: unwatched jobs, spot
// checks that found no danger, jobs with a prompt at a critical step, and jobs done elsewhere never raise the estimate.
//
// Before the first job the chance is believed to be a mixture: of 100 apprentices who have come so far as to be watched,
// 40 are able already, their chance spread as Beta(99, 1) (mean 0.99), and 60 are still learning, Beta(3, 2) (mean
// 0.6). A Beta prior stays Beta after independent successes and failures, and the classes are weighed again by how well
// each foretold what happened (Gelman et al., Bayesian Data Analysis, 3rd edition, sections 2.4 and 22.1). These
// numbers are assumptions, not measurements. They were chosen so that somebody of whom nothing is known is far from
// ready, that no single job decides, and that a plausible number of clean jobs does. With target 0.95 and confidence
// 0.90:
//
//	clean jobs, no failure    0      3      5      8      9      10     15
//	probability               0.756  0.917  0.951  0.972  0.976  0.979  0.986
//	confidence                0.406  0.704  0.803  0.883  0.900  0.913  0.954
//
// So nine clean jobs in a row reach the default. After a critical error it takes until 15 later jobs were clean, when the
// error leaves the window. The smallest numbers of clean jobs for other targets stand in TestCleanJobsNeeded. A target
// that needs more than Window jobs cannot be reached (jobs_cannot_show).
//
// What this first model does not know: how hard a job was, how strict the supervisor is, how long ago the work was done
// (idle time closes the gate recency and lapses a clearance, but does not move the estimate), and what theory answers
// say. Steps of one job are not counted as separate facts: a job is one observation, however many ticks it has.
//
// Properties, tested: one more clean job never lowers probability or confidence; one more critical failure never
// raises them; time alone changes neither, closes gates and never opens one. Numbers are rounded once, to 0.001, and
// decisions are taken on the rounded numbers.
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
