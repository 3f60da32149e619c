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
//   - model.go, lattice.go, number.go: the estimate
//   - severity.go, calibrate.go: what parameters are made from
//   - explain.go: reasons and the shortest way
//
// Nothing here depends on the order of the input or on what people are called.
//
// # The model
//
// What is estimated is the chance that the next job alone goes without a critical error: a job drawn from the policy's mix
// of difficulties, judged by a supervisor of severity 0. The model is Bayesian and lives on the logit scale. Every
// number in it is a value of the [Parameters], named here in quotation marks; [DefaultParameters] are the priors.
//
// Ability. Each apprentice has at each task an ability u when in practice. It is normal around "ability" plus the task's
// ease; a part with spread "general_sd" is shared by all tasks of the apprentice, a part with spread "task_sd" belongs to the task
// (crossed as in hierarchical item response models: Rasch 1960; Fox 2010).
//
// Error. At each of n critical steps the odds of a critical error are e^−(z − harder)/n, so that the odds of one in
// the job are about e^−z whatever n is; z is ability less the difficulty of the job ("routine", "awkward") and the severity of the supervisor, plus a
// shock common to all steps of the job (halo, "halo_sd") and one common to all jobs of the day ("day_sd"). Twelve ticks of
// one job are thereby not twelve facts. What is not known of a supervisor's severity widens the halo. A step is done without
// help with logit "help_slope" × z + "help_critical" or "help_ordinary".
//
// What a record says. A job without a critical error: what was done unaided speaks for the apprentice, what needed help
// speaks against. A job with a critical error: the error alone counts, whatever else was ticked; it counts with the weight "error", below 1
// since shocks have heavier tails than the normal. A perfect record counts to the power 1 − "unseen", the chance that it was looked
// at, as a weighted likelihood does (Ibrahim and Chen 2000; Bissiri, Holmes and Walker 2016); a step ticked in bulk counts "bulk". A near miss, or a job that the
// supervisor stopped, counts as help at a critical step. Sound spot checks speak for, flaws against, both with weight "spot_check";
// unsafe work and returns of our work are critical errors. Theory answers show knowledge, a separate ability, normal around
// "knowledge_mean" + "knowledge_slope" × (u − "ability") with spread "knowledge_sd".
//
// Time. What spoke against an apprentice fades by the factor "fade" with each clean job of a later day, and earlier work is
// taken as done at an ability lower by up to "catch_up", approached by "catch_rate" with each clean job since: a power steady model (Smith 1979; West and
// Harrison 1997), in which evidence and not ability is discounted. From u is taken off what is missing for want of practice: all of "deficit" before the first
// job, shrunk by the factor "practice" with each job, watched or not (a learning curve that flattens), and growing again in idle time,
// e-fold in "forget_days", up to the share of the deficit that is not "retained" (so relearning is faster than learning). A job with a critical
// error is no practice.
//
// # Inference
//
// All densities live on a lattice of abilities from −6 to 9 in steps of 0.25; shocks, the general part and knowledge are averaged over
// with normal kernels on lattices. Nothing is drawn at random and nothing iterates. Against a lattice five times as
// fine, probability and confidence are off by less than 0.006 (TestAgainstFineLattice). exp and log are our own (number.go).
//
// # Why the properties hold
//
// Everything that speaks for an apprentice is a log-concave, rising function of z; everything against falls. Normal kernels are
// totally positive of order 2 (Karlin 1968), so each clean job moves the posterior up in the sense of the likelihood
// ratio, and each critical error down, whatever else is known: of this task and, over the general part, of the others. A
// clean job also makes earlier help and errors fade, moves earlier work further back and shrinks what is missing; all of
// this points up. Idle time only ever takes ability off. For these guarantees three things are left out on purpose:
// earlier jobs are not corrected for what was missing on their day, errors are no practice, and evidence is not spread by time. Rapid tests
// check all of it after rounding. Numbers are rounded once, to 0.001, and decisions are taken on the rounded numbers.
//
// # What it takes
//
// From nothing, one clean job a week by supervisors not known, with the priors:
//
//	steps (critical)   target  confidence  clean jobs
//	12 (5)             0.80    0.80        2
//	12 (5)             0.95    0.80        6
//	12 (5)             0.95    0.90        7
//	12 (5)             0.97    0.90        10
//	12 (5)             0.98    0.90        14
//	6 (3)              0.95    0.90        10
//	20 (8)             0.95    0.90        6
//	none               0.80    0.80        3
//	none               0.95    0.90        22
//
// More steps in a catalogue show more, so fewer jobs are enough. Where more than 30 further jobs would not do, the
// reason is jobs_cannot_show.
//
// # Parameters from evidence
//
// [Severities] and [EstimateSupervisors] fit crossed random effects. [Calibrate] maximises the likelihood of each watched job as foretold from what
// came before it, the outcome (critical error or none) weighing more than the rest of the record.
//
// # How good it is
//
// Measured on a simulator that is not the model (simulator_test.go: learning along a hyperbola at everybody's own pace,
// forgetting as a power of idle time, shocks with heavy tails, awkward jobs for the able, some who sign unseen), with TestCompare.
// 100 apprentices × 6 tasks, 5,700 watched jobs; "priors" with supervisors estimated for each date, "calibrated" on 100 other
// apprentices of the same supervisors. Held back are those truly ready at the end and never declared; jobs are watched jobs
// until declared, all of them where that never came. The bound knows the simulator's population values and supervisors
// and sees the same records; it is itself an approximation (drawn, the tails of the shocks cut off).
//
//	                              cleared  wrongly, of these  held back  jobs
//	3 sign-offs and 80 %          0.348    0.445              0.409      7.51
//	5 sign-offs and 80 %          0.227    0.346              0.596      8.31
//	8 sign-offs and 80 %          0.110    0.197              0.770      8.92
//	LC-CUSUM                      0.423    0.547              0.455      7.52
//	bound, as many cleared        0.227    0.162              0.481      8.34
//	priors, as many cleared       0.222    0.211              0.540      8.51
//	calibrated, as many cleared   0.225    0.156              0.485      8.39
//	bound, as many wrongly        0.358    0.340              0.255      7.34
//	priors, as many wrongly       0.368    0.344              0.323      7.78
//	calibrated, as many wrongly   0.348    0.340              0.302      7.72
//	bound, confidence 0.90        0.160    0.083              0.609      8.63
//	priors, confidence 0.90       0.110    0.152              0.757      8.95
//	calibrated, confidence 0.90   0.098    0.068              0.762      9.01
//
//	of confidence                 calibration error                   Brier score
//	                              all    strictest  mildest  idlest   all
//	bound                         0.024  0.046      0.029    0.067    0.091
//	priors                        0.081  0.118      0.052    0.132    0.121
//	calibrated                    0.065  0.087      0.059    0.095    0.104
//
// So the order in which it puts people is as good as can be; the level errs on the side of caution in the middle, and
// most for those who have been idle.
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
