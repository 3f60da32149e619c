package readiness

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
)

// ParametersFormat is the format of the snapshots read and written here.
const ParametersFormat = "brakewright-parameters/2"

// Parameters is a versioned snapshot: population values, and what is known of tasks, steps and supervisors. It names the
// moment up to which evidence went into it. What the values mean is said in the package documentation, "The model".
type Parameters struct {
	Format      string            `json:"format"`          // "brakewright-parameters/2"
	UpTo        string            `json:"up_to,omitempty"` // date, or "" for the documented priors
	Population  Population        `json:"population"`
	Tasks       []TaskValue       `json:"tasks"`       // by task; absent: 0
	Steps       []StepValue       `json:"steps"`       // by step; absent: 0
	Supervisors []SupervisorValue `json:"supervisors"` // by supervisor; absent: severity 0 with the population's spread
}

// Population are the values that hold for everybody. Logits, unless said otherwise.
type Population struct {
	Ability   float64 `json:"ability"`    // mean ability of those in practice
	GeneralSD float64 `json:"general_sd"` // spread of the part of ability that an apprentice has at every task
	TaskSD    float64 `json:"task_sd"`    // spread of the part that belongs to one task

	Routine float64 `json:"routine"` // difficulty of a routine job; a usual one has 0
	Awkward float64 `json:"awkward"` // difficulty of an awkward job
	HaloSD  float64 `json:"halo_sd"` // spread of the shock common to all steps of one job
	DaySD   float64 `json:"day_sd"`  // spread of the shock common to all jobs of one day

	HelpSlope    float64 `json:"help_slope"`    // how much of ability shows in steps done without help
	HelpCritical float64 `json:"help_critical"` // how easily a critical step is done without help, at ability 0
	HelpOrdinary float64 `json:"help_ordinary"` // the same for other steps

	Deficit    float64 `json:"deficit"`     // what is missing before the first practice
	Practice   float64 `json:"practice"`    // factor by which each practice shrinks what is missing, from 0 to 1
	Curve      float64 `json:"curve"`       // bend of the learning curve: 1 is exponential, below 1 quick first and slow later, above 1 slow at first
	PaceSD     float64 `json:"pace_sd"`     // spread of the logarithm of how much practice it takes
	DeficitSD  float64 `json:"deficit_sd"`  // spread of what is missing before the first practice
	Retained   float64 `json:"retained"`    // share of what was learned that is never forgotten, from 0 to 1
	ForgetDays float64 `json:"forget_days"` // days without practice after which half of the rest is forgotten
	Savings    float64 `json:"savings"`     // share of idle days, from 0 to 1, that the next practice makes good
	CatchUp    float64 `json:"catch_up"`    // how much is learned, at most, after a job that is looked back on
	CatchRate  float64 `json:"catch_rate"`  // factor by which each clean job shrinks what is still to be caught up
	CatchBase  float64 `json:"catch_base"`  // share of catch_up, from 0 to 1, that is counted at once
	CatchStep  float64 `json:"catch_step"`  // factor by which each earlier job that was not clean lessens what is learned after
	Owed       float64 `json:"owed"`        // how much of what is missing the judge takes off
	Idle       float64 `json:"idle"`        // factor by which idle days count to the judge
	Early      float64 `json:"early"`       // how much of what was missing the judge gives credit for in early work
	Error      float64 `json:"error"`       // weight of a critical error, from 0 to 1: less than 1 since anybody may have a bad day that normal shocks do not foresee
	Fade       float64 `json:"fade"`        // factor by which each later clean job weakens what spoke against the apprentice

	SeveritySD float64 `json:"severity_sd"` // spread of the severity of supervisors
	Unseen     float64 `json:"unseen"`      // chance that a perfect record was signed unseen, from 0 to 1
	Bulk       float64 `json:"bulk"`        // weight of a step ticked in bulk, from 0 to 1
	SpotCheck  float64 `json:"spot_check"`  // weight of a look at finished work, from 0 to 1

	KnowledgeMean  float64 `json:"knowledge_mean"`  // mean ability to answer
	KnowledgeSlope float64 `json:"knowledge_slope"` // how much of practical ability shows in it
	KnowledgeSD    float64 `json:"knowledge_sd"`    // spread of the rest

	Places      float64 `json:"places"`       // from 0, errors of a job are decided once, to 1, at each critical step by itself
	BulkSeen    float64 `json:"bulk_seen"`    // share of the jobs seen, from 0 to 1, in which critical steps are ticked in bulk
	BulkUnseen  float64 `json:"bulk_unseen"`  // the same of the jobs signed unseen
	Tail        float64 `json:"tail"`         // share of jobs, from 0 to 1, whose halo is three times as wide
	ChanceUp    float64 `json:"chance_up"`    // how much of the model's chance of no critical error is believed near 1, see [Population.chanceInLine]
	ChanceDown  float64 `json:"chance_down"`  // the same near 0
	ChanceShift float64 `json:"chance_shift"` // what is added to its logit
	SureUp      float64 `json:"sure_up"`      // how much the judge's confidence is trusted near 1, see [model.inLine]
	SureDown    float64 `json:"sure_down"`    // the same near 0
	SureShift   float64 `json:"sure_shift"`   // what is added to its logit
}

// TaskValue is how much easier a task is than the usual: added to the mean ability.
type TaskValue struct {
	Task string  `json:"task"`
	Ease float64 `json:"ease"`
}

// StepValue is how much harder a step is than the usual step of its task.
type StepValue struct {
	Step       string  `json:"step"`
	Difficulty float64 `json:"difficulty"`
}

// SupervisorValue is what is known of a supervisor: positive severity is stricter; Unseen is the chance that a perfect
// record of theirs was signed unseen.
type SupervisorValue struct {
	Supervisor string  `json:"supervisor"`
	Severity   float64 `json:"severity"`
	SE         float64 `json:"se"`
	Unseen     float64 `json:"unseen"`
}

// DefaultParameters are the documented priors.
func DefaultParameters() Parameters {
	return Parameters{
		Format: ParametersFormat,
		Population: Population{
			Ability: 4.15, GeneralSD: 0.9, TaskSD: 0.7,
			Routine: -0.5, Awkward: 0.75, HaloSD: 0.5, DaySD: 0.4,
			HelpSlope: 0.85, HelpCritical: 0.45, HelpOrdinary: 0.4,
			Deficit: 3, Practice: 0.75, Curve: 1.05, PaceSD: 0.65, DeficitSD: 0.85, Retained: 0.75, ForgetDays: 80, Savings: 0.9,
			CatchUp: 2.9, CatchRate: 0.3, CatchBase: 0.95, CatchStep: 0.7, Owed: 0.7, Idle: 1.3, Early: 1, Error: 0.95, Fade: 0.98,
			SeveritySD: 0.7, Unseen: 0.05, Bulk: 0.3, SpotCheck: 0.5,
			KnowledgeMean: 1.5, KnowledgeSlope: 0.55, KnowledgeSD: 0.75,
			BulkSeen: 0.03, BulkUnseen: 0.5, Places: 0.7, Tail: 0.12, ChanceUp: 1, ChanceDown: 0.9, ChanceShift: -0.05, SureUp: 0.9, SureDown: 1.15, SureShift: -0.7,
		},
		Tasks: []TaskValue{}, Steps: []StepValue{}, Supervisors: []SupervisorValue{},
	}
}

// bound is a population value with its name and range.
type bound struct {
	name     string
	value    *float64
	from, to float64
}

// bounds are all population values with the ranges in which the model is sound. The order is that of the format.
func (p *Population) bounds() []bound {
	return []bound{
		{"ability", &p.Ability, -3, 6}, {"general_sd", &p.GeneralSD, 0.1, 3}, {"task_sd", &p.TaskSD, 0.2, 3},
		{"routine", &p.Routine, -3, 0}, {"awkward", &p.Awkward, 0, 3}, {"halo_sd", &p.HaloSD, 0.2, 3}, {"day_sd", &p.DaySD, 0.2, 3},
		{"help_slope", &p.HelpSlope, 0.05, 2}, {"help_critical", &p.HelpCritical, -6, 9}, {"help_ordinary", &p.HelpOrdinary, -6, 9},
		{"deficit", &p.Deficit, 0, 6}, {"practice", &p.Practice, 0.1, 0.99}, {"curve", &p.Curve, 0.3, 3}, {"pace_sd", &p.PaceSD, 0, 1.5}, {"deficit_sd", &p.DeficitSD, 0, 2}, {"retained", &p.Retained, 0, 0.9}, {"forget_days", &p.ForgetDays, 10, 3650}, {"savings", &p.Savings, 0, 1},
		{"catch_up", &p.CatchUp, 0, 3}, {"catch_rate", &p.CatchRate, 0.1, 0.99}, {"error", &p.Error, 0.2, 1}, {"fade", &p.Fade, 0.1, 1},
		{"severity_sd", &p.SeveritySD, 0, 2}, {"unseen", &p.Unseen, 0, 1}, {"bulk", &p.Bulk, 0, 1}, {"spot_check", &p.SpotCheck, 0, 1},
		{"knowledge_mean", &p.KnowledgeMean, -4, 5}, {"knowledge_slope", &p.KnowledgeSlope, 0, 1.5}, {"knowledge_sd", &p.KnowledgeSD, 0.3, 3},
		{"bulk_seen", &p.BulkSeen, 0.001, 0.999}, {"bulk_unseen", &p.BulkUnseen, 0.001, 0.999}, {"places", &p.Places, 0, 1}, {"tail", &p.Tail, 0, 0.5},
		{"catch_base", &p.CatchBase, 0, 1}, {"catch_step", &p.CatchStep, 0.3, 1}, {"owed", &p.Owed, 0.1, 1.5}, {"idle", &p.Idle, 0.2, 10}, {"early", &p.Early, 0, 1.5}, {"chance_up", &p.ChanceUp, 0.3, 3}, {"chance_down", &p.ChanceDown, 0.3, 3}, {"chance_shift", &p.ChanceShift, -3, 3}, {"sure_up", &p.SureUp, 0.2, 3}, {"sure_down", &p.SureDown, 0.2, 3}, {"sure_shift", &p.SureShift, -4, 4},
	}
}

// NamedValue is a population value with its name in the format.
type NamedValue struct {
	Name  string
	Value float64
}

// Values are all population values in the order of the format.
func (p Population) Values() []NamedValue {
	var all []NamedValue
	for _, b := range p.bounds() {
		all = append(all, NamedValue{b.name, *b.value})
	}
	return all
}

// JSON is the snapshot's exact bytes; Hash their SHA-256 (hex).
func (p Parameters) JSON() []byte {
	b, err := json.Marshal(p)
	if err != nil {
		panic("readiness: parameters to JSON: " + err.Error()) // NaN or infinite: made in code only
	}
	return b
}

// Hash is the SHA-256 (hex) of JSON.
func (p Parameters) Hash() string { return hashHex(p.JSON()) }

// maxLogit bounds what may be said of a task, a step or a supervisor.
const maxLogit = 4

// firstFormat is the format of the first model, a mixture of classes. Only its documented priors were ever adopted.
const firstFormat = "brakewright-parameters/1"

// ReadParameters reads a snapshot strictly: one JSON object, no unknown field, every population value given and within
// its range, no name twice. A snapshot of the first format says nothing that this model could use: the documented priors
// hold in its place.
func ReadParameters(b []byte) (Parameters, error) {
	var first struct {
		Format string `json:"format"`
	}
	if json.Unmarshal(b, &first) == nil && first.Format == firstFormat {
		return DefaultParameters(), nil
	}
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	missing := math.MaxFloat64
	var p Parameters
	for _, v := range p.Population.bounds() {
		*v.value = missing
	}
	p.Population.CatchStep, p.Population.Owed, p.Population.Early = 1, 1, 1
	p.Population.Savings, p.Population.Idle = 0.5, 1
	p.Population.Curve, p.Population.PaceSD, p.Population.DeficitSD = 1, 0, 0
	p.Population.Tail, p.Population.Places, p.Population.BulkSeen, p.Population.BulkUnseen = 0, 1, 0.5, 0.5
	p.Population.ChanceUp, p.Population.ChanceDown, p.Population.ChanceShift = 1, 1, 0
	p.Population.SureUp, p.Population.SureDown, p.Population.SureShift = 1, 1, 0 // what they are where they are not given
	if err := d.Decode(&p); err != nil {
		return Parameters{}, fmt.Errorf("parameters: %w", err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return Parameters{}, errors.New("parameters: something follows the object")
	}
	switch {
	case p.Format != ParametersFormat:
		return Parameters{}, fmt.Errorf("parameters: format is %q, not %q", p.Format, ParametersFormat)
	case p.UpTo != "" && !validDate(p.UpTo):
		return Parameters{}, fmt.Errorf("parameters: up_to is %q, not a date", p.UpTo)
	}
	for _, v := range p.Population.bounds() {
		switch {
		case *v.value == missing:
			return Parameters{}, fmt.Errorf("parameters: population.%s must be given", v.name)
		case *v.value < v.from || *v.value > v.to:
			return Parameters{}, fmt.Errorf("parameters: population.%s is %v; it must lie between %v and %v", v.name, *v.value, v.from, v.to)
		}
	}
	if err := p.checkLists(); err != nil {
		return Parameters{}, err
	}
	p.sort()
	return p, nil
}

func (p *Parameters) checkLists() error {
	seen := map[[2]string]bool{}
	check := func(list, name string, i int, logits ...float64) error {
		switch {
		case name == "":
			return fmt.Errorf("parameters: %s[%d] has no name", list, i)
		case seen[[2]string{list, name}]:
			return fmt.Errorf("parameters: %s[%d]: %q stands twice", list, i, name)
		}
		seen[[2]string{list, name}] = true
		for _, x := range logits {
			if math.Abs(x) > maxLogit {
				return fmt.Errorf("parameters: %s[%d]: %v is beyond %d", list, i, x, maxLogit)
			}
		}
		return nil
	}
	for i, t := range p.Tasks {
		if err := check("tasks", t.Task, i, t.Ease); err != nil {
			return err
		}
	}
	for i, s := range p.Steps {
		if err := check("steps", s.Step, i, s.Difficulty); err != nil {
			return err
		}
	}
	for i, s := range p.Supervisors {
		if err := check("supervisors", s.Supervisor, i, s.Severity, s.SE); err != nil {
			return err
		}
		if s.SE < 0 || s.Unseen < 0 || s.Unseen > 1 {
			return fmt.Errorf("parameters: supervisors[%d]: se must not be negative, unseen from 0 to 1", i)
		}
	}
	return nil
}

// sort puts the lists into the order in which they are written, and makes none of them nil.
func (p *Parameters) sort() {
	p.Tasks, p.Steps, p.Supervisors = append([]TaskValue{}, p.Tasks...), append([]StepValue{}, p.Steps...), append([]SupervisorValue{}, p.Supervisors...)
	slices.SortFunc(p.Tasks, func(a, b TaskValue) int { return cmp.Compare(a.Task, b.Task) })
	slices.SortFunc(p.Steps, func(a, b StepValue) int { return cmp.Compare(a.Step, b.Step) })
	slices.SortFunc(p.Supervisors, func(a, b SupervisorValue) int { return cmp.Compare(a.Supervisor, b.Supervisor) })
}
