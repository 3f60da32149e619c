// Package readiness says where an apprentice stands with a task and why: gates that no probability can buy off, and a
// probability that the next unsupervised job goes without a critical error. It is pure: evidence, policy, parameters
// and a date in, a verdict out; the same inputs give the same bytes on every machine. Shapes: DEVELOPERS.md, "Contracts"
// and 6. It says nothing in words: reasons are codes with arguments.
//
// # Where to look
//
//   - evidence.go, catalogue.go, json.go: reading files, every fault named; loose.go: what refers to nothing
//   - policy.go, policy_decode.go, parameters.go: what is asked, and what is believed beforehand
//   - resolve.go: corrections and disputes; what counts as evidence on a date
//   - history.go: what counts as a watched job, a clean job, a step seen unaided, a critical failure; days and leave
//   - gates.go: each gate, defined
//   - standing.go: each standing, defined; lapse, stand-down, restore
//   - model.go, clean.go, learning.go, lattice.go, number.go: the estimate
//   - severity.go, refine.go: how strict supervisors are
//   - calibrate.go, teacher.go, outcomes.go, lesson.go: what parameters are made from
//   - tradeoff.go: what a confidence would lead to
//   - explain.go, rests.go: reasons, and the records on which they rest
//   - way.go, suppose.go: the shortest way; what if the next acts go well
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
// Error. A job has k places at which an error is decided, k = n^"places" for n critical steps; at each the odds of an error are
// e^−(z − harder)/k, so that the odds of one in the job are about e^−z where errors are rare; z is ability less the difficulty of the job
// ("routine", "awkward") and the severity of the supervisor, plus a shock common to all steps of the job (halo, "halo_sd") and one
// common to all jobs of the day ("day_sd"). The share "tail" of jobs has a halo three times as wide: anybody may have a bad day. Twelve ticks of
// one job are thereby not twelve facts. What is not known of a supervisor's severity widens the halo. A step is done without
// help with logit "help_slope" × z + "help_critical" or "help_ordinary".
//
// What a record says. What was done unaided in watched jobs without a critical error speaks for the apprentice, all jobs
// together: a job is worth so much of a perfect record as its unaided steps show (a step ticked in bulk counts "bulk"), times 1 − "unseen",
// the chance that it was looked at, if it is perfect; the likelihood of a perfect record counts to that power (a weighted
// likelihood: Ibrahim and Chen 2000; Bissiri, Holmes and Walker 2016). Early work was done with more missing: the first
// job's worth with all of the deficit, the next with what one practice leaves of it, and so on, times "early"; which job comes first
// is not taken from the date but from how hard it was, the hardest first (see below, and clean.go). What is not known of the supervisor takes
// half its variance off how hard it was. What needed help speaks against, job by job. A job with a critical error: the error alone counts, whatever else was ticked; it counts with the weight
// "error", below 1 since the judge's own shocks are normal. A near miss, or a job that the supervisor stopped, counts as help at a critical step. Sound
// spot checks speak for, flaws against, both with weight "spot_check"; unsafe work and returns of our work are critical
// errors. Theory answers show knowledge, a separate ability, normal around
// "knowledge_mean" + "knowledge_slope" × (u − "ability") with spread "knowledge_sd".
//
// Time. From u is taken off what is missing for want of practice: all of "deficit" before the first job, e^−(n/pace)^"curve" of it after n
// jobs, watched or not (a stretched exponential, which covers quick starts and late insight; "practice" is what one job leaves of it where "curve" is 1). What
// was learned is forgotten in idle time along a hyperbola, towards the share "retained" of it; half of the rest is gone after "forget_days". The
// next job makes good the share "savings" of all idle days before it, so that relearning is faster than learning (Ebbinghaus 1885); where idle time has left less of all jobs
// than the later ones alone would give, those alone count. People learn differently: pace is spread by "pace_sd" on the logarithm, what is missing at first by
// "deficit_sd"; both are averaged over, on three points and two. The judge takes off "owed" times as much, counts idle days "idle" times, and leaves
// the weights of the ways of learning as they were. A job with a critical error is no practice to the judge. Help and errors of earlier days were at an
// ability lower by "catch_up", of which "catch_base" is counted at once and the rest is approached by "catch_rate" with each
// practice since; it is less by the factor "catch_step" for each job before it that was not clean. What spoke against
// fades by the factor "fade" with each clean job of a later day: a power steady model (Smith 1979; West and Harrison 1997),
// in which evidence and not ability is discounted.
//
// The chance. What the model says of a job without a critical error, by ability, is brought in line with how often there was
// one: a rising function of it, "chance_up", "chance_down", "chance_shift" (see [Population.chanceInLine]).
//
// How sure. The posterior of ability, less what is missing, is brought in line with how right the judge has been: for every ability, the chance that
// somebody's lies above it is mapped by a rising function, "sure_up", "sure_down", "sure_shift" (beta calibration: Kull,
// Silva Filho and Flach 2017; see [model.inLine]).
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
// ratio, and each critical error down, whatever else is known: of this task and, over the general part, of the others. Watched jobs
// stand in the order of how hard they were, each over as long a stretch as it is worth, against what is missing along it. One more
// job pushes further down only what was less hard, so that at every place of the stretch now stands work as hard as before or harder, and more at the end:
// the likelihood ratio rises. By date it would not: a weak record slipped in before a strong one would make that look easier. A
// clean job also makes earlier help and errors fade, moves them further back and shrinks what is missing; all of
// this points up. Idle time only ever takes ability off, whichever the way of learning. For these guarantees some things are left out on purpose:
// the judge does not learn how somebody learns, errors are no practice, and evidence is not spread by time. Rapid tests
// check all of it after rounding. What the teacher (below) knows better, the judge gives up for these promises. Numbers are rounded once, to 0.001, and decisions are taken on the rounded numbers.
//
// # What it takes
//
// From nothing, one clean job a week by supervisors not known, with the priors:
//
//	steps (critical)   target  confidence  clean jobs
//	12 (5)             0.80    0.80        1
//	12 (5)             0.95    0.80        3
//	12 (5)             0.95    0.90        5
//	12 (5)             0.97    0.90        7
//	12 (5)             0.98    0.90        10
//	6 (3)              0.95    0.90        6
//	20 (8)             0.95    0.90        4
//	none               0.80    0.80        2
//	none               0.95    0.90        13
//
// More steps in a catalogue show more, so fewer jobs are enough. Where more than 30 further jobs would not do, the
// reason is jobs_cannot_show.
//
// # Parameters from evidence
//
// A second judge, the teacher, takes the model at its word: each record at what was missing on its day, errors as practice,
// perfect records as a mixture of seen and unseen ones (of which the shares "bulk_seen" and "bulk_unseen" have critical
// steps ticked in bulk), large shocks included. Its likelihood is the model's. It keeps none of the promises above, so it
// never judges anybody; parameters are made with it.
//
// [Severities] and [EstimateSupervisors] fit crossed random effects of apprentice at task and supervisor: first by penalised
// quasi-likelihood, then by steps on the teacher's marginal likelihood. They correlate at 0.99 with a fit by maximum
// likelihood done another way (TestSeveritiesAgainstReference). [Calibrate] maximises the marginal likelihood of all
// evidence by Newton steps whose curvature comes from people's own slopes (Berndt, Hall, Hall and Hausman 1974), with supervisors, tasks and steps by expectation and maximisation in turn with it. Then chances are brought in line
// with outcomes: every watched job is foreseen from what was known before its day (prequential: Dawid 1984), and "chance_…" are
// set by the likelihood of whether there was a critical error. Then the judge learns: for
// dates four weeks apart, what it said is held against what the teacher says with hindsight, and the judge's own values
// ("early", "catch_…", "owed", "idle", "error", "fade", "sure_…") are set so that they agree best.
//
// # How good it is
//
// Measured on a simulator that is not the model (simulator_test.go), in several worlds that differ in the shape of the learning
// curve, in how much people and supervisors differ, in how errors and answers come about; in all of them everybody learns at a pace of
// their own, forgetting is a power of idle time, shocks have heavy tails, the able get the awkward jobs and some supervisors sign unseen.
// 6 tasks, 25 supervisors, some ten jobs for each apprentice and task; 240 apprentices, "calibrated" on 1,000 others of the same
// supervisors. Who fails the test may take it again. A job counts as signed off if every critical step was done unaided. The bound knows the world's
// values, tasks and supervisors and sees the same records; it is itself an approximation (drawn abilities, shocks on 31
// points). Held back are those truly ready at the end and never declared. Jobs are watched jobs until declared: of those declared, and of
// those truly ready (all of theirs where that never came); for the bound and the model at as many false clearances as under "5 and 80 %".
// Tasks, supervisors and people here are others than those on which the model was worked out.
//
//	world                                 cleared  wrongly, of these  held back  jobs of the declared  of the truly ready
//	hyperbola    3 sign-offs and 80 %     0.646    0.598              0.164      4.9                   4.8
//	             5 sign-offs and 80 %     0.481    0.478              0.320      7.3                   6.5
//	             8 sign-offs and 80 %     0.237    0.349              0.605      10.8                  8.3
//	             LC-CUSUM                 0.435    0.481              0.393      8.4                   7.2
//	             bound                    0.486    0.474              0.106      3.9 (−46 %)           4.1 (−38 %)
//	             calibrated               0.474    0.473              0.153      4.2 (−42 %)           4.3 (−34 %)
//	insight      5 sign-offs and 80 %     0.557    0.222              0.324      7.0                   6.5
//	             bound                    0.600    0.220              0.191      4.5 (−36 %)           4.9 (−24 %)
//	             calibrated               0.584    0.219              0.224      5.3 (−25 %)           5.4 (−16 %)
//	power        5 sign-offs and 80 %     0.472    0.376              0.341      7.1                   6.5
//	             bound                    0.537    0.373              0.090      3.7 (−48 %)           3.8 (−42 %)
//	             calibrated               0.539    0.372              0.099      3.8 (−46 %)           3.9 (−40 %)
//
//	of confidence                  calibration error                    Brier score  of those declared at 0.90
//	                               all    strictest  mildest  idlest    all          wrongly  held back
//	hyperbola    bound             0.009  0.041      0.035    0.026     0.082        0.059    0.561
//	             calibrated        0.014  0.049      0.053    0.030     0.091        0.077    0.627
//	             priors            0.070  0.044      0.121    0.060     0.110        0.165    0.456
//	insight      bound             0.014  0.045      0.045    0.018     0.111        0.073    0.393
//	             calibrated        0.034  0.051      0.069    0.037     0.126        0.070    0.503
//	             priors            0.023  0.048      0.062    0.047     0.129        0.085    0.442
//	power        bound             0.010  0.013      0.033    0.042     0.085        0.058    0.377
//	             calibrated        0.020  0.034      0.059    0.044     0.091        0.087    0.408
//	             priors            0.026  0.031      0.082    0.042     0.096        0.094    0.375
//
// Of those declared at 0.90 at most 9 in 100 were not yet there. On other tasks and supervisors of these worlds the calibration error was 0.013 to 0.015 (hyperbola,
// exponential), 0.011 to 0.025 (power) and 0.017 to 0.036 (insight). 0.02 was aimed at: where all insight comes at once, after more jobs
// or fewer, the model believes too little of those with four to eight jobs. The bound's own errors in the tenths show how much of those is
// the luck of two supervisors' apprentices. The Brier score is 1.07 to 1.13 times the bound's. With the priors alone, calibration errors in
// these worlds lie between 0.014 and 0.084, 0.045 in the mean: it depends on how able a programme's people are. TestCompare prints all of this.
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

	// Evidence names the records on which the gate rests, with Explain: the oldest first; of many that would do, the latest.
	Evidence []string `json:"evidence,omitempty"`
}

// GateNames are all gates in their order.
var GateNames = []string{"induction", "reading", "theory_test", "critical_steps", "jobs", "supervisors", "layouts", "recency", "critical_error", "prerequisites"}

// Reason is a code with arguments; Text is filled by whoever says it (server/say), never here.
type Reason struct {
	Code string            `json:"code"`
	Args map[string]string `json:"args"`
	Text string            `json:"text"`

	Evidence []string `json:"evidence,omitempty"` // ids of the records on which it rests, the oldest first
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
