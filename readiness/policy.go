package readiness

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"maps"

	"github.com/gowebpki/jcs"
	"go.yaml.in/yaml/v4"
)

// EveryTask is the key in a policy's tasks for what holds for every task, where the task itself is silent.
const EveryTask = "*"

// Policy is what a programme asks before anyone works unsupervised: the policy block of programme.yaml.
type Policy struct {
	Target               float64               `json:"target"`              // 0.95
	Confidence           float64               `json:"confidence"`          // 0.90
	JobMix               map[string]float64    `json:"job_mix"`             // routine, usual, awkward; sums to 1
	Induction            string                `json:"induction,omitempty"` // a task; "": the gate is open
	SupervisorsAvailable int                   `json:"supervisors_available"`
	BackdatingDays       int                   `json:"backdating_days"`
	CountersignDays      int                   `json:"countersign_days"`
	ReviewDays           int                   `json:"review_days"`
	GraceDays            int                   `json:"grace_days"`
	RetentionYears       int                   `json:"retention_years"`     // of every kind of record that Retention does not name
	Retention            map[RecordKind]int    `json:"retention,omitempty"` // years, by kind
	Tasks                map[string]TaskPolicy `json:"tasks"`
}

// TaskPolicy is what one task asks. Target and Confidence are those of the programme where absent.
type TaskPolicy struct {
	Target       *float64    `json:"target,omitempty"`
	Confidence   *float64    `json:"confidence,omitempty"`
	Jobs         int         `json:"jobs"`
	Supervisors  int         `json:"supervisors"`
	Layouts      int         `json:"layouts,omitempty"` // 0: the gate is open
	RecencyDays  int         `json:"recency_days"`
	LapseDays    int         `json:"lapse_days"`
	JobsPerMonth float64     `json:"jobs_per_month,omitempty"` // 0: not stated
	TheoryTest   *TheoryTest `json:"theory_test,omitempty"`    // absent: the gate is open
}

// MaxRetentionYears bounds every number of years.
const MaxRetentionYears = 100

// RecordKind is a kind of record as far as retention goes: how long it is kept is policy, kind by kind.
type RecordKind string

const (
	TrainingRecord  RecordKind = "training"   // hours of work and training: readings, theory tests, jobs, spot checks, recognised training, and what was said of them
	ClearanceRecord RecordKind = "clearances" // clearances, stand-downs, their reviews and restores
	MatterRecord    RecordKind = "matters"    // cars that came back, disputes and their settlements
	AgreementRecord RecordKind = "agreements" // training agreements, leave, cohorts
	AuthorityRecord RecordKind = "authority"  // roles, and appointments with their qualifications
	AccountRecord   RecordKind = "account"    // name, log-in name, password, signing keys
	ProgrammeRecord RecordKind = "programme"  // what was done for the programme: editions, parameters, sites, shop notes, voided questions, erasures
)

// RecordKinds are all kinds, in the order in which they are listed.
var RecordKinds = []RecordKind{TrainingRecord, ClearanceRecord, MatterRecord, AgreementRecord, AuthorityRecord, AccountRecord, ProgrammeRecord}

// KeptYears says for how many years a kind of record is kept.
func (p Policy) KeptYears(kind RecordKind) int {
	if years, ok := p.Retention[kind]; ok {
		return years
	}
	return p.RetentionYears
}

// TheoryTest is the test a task asks.
type TheoryTest struct {
	Blueprint   string `json:"blueprint"`
	PassPercent int    `json:"pass_percent"`
	Watched     bool   `json:"watched,omitempty"`
}

// DefaultPolicy is what holds where a policy is silent; `assess --print-policy` prints it.
func DefaultPolicy() Policy {
	return Policy{
		Target:               0.95,
		Confidence:           0.90,
		JobMix:               map[string]float64{"routine": 0.3, "usual": 0.5, "awkward": 0.2},
		SupervisorsAvailable: 3,
		BackdatingDays:       14,
		CountersignDays:      14,
		ReviewDays:           90,
		GraceDays:            30,
		RetentionYears:       5, // 29 CFR 30.12: five years
		Tasks:                map[string]TaskPolicy{},
	}
}

// defaultTaskPolicy is what a task asks when neither it nor EveryTask says otherwise.
func defaultTaskPolicy() TaskPolicy {
	return TaskPolicy{Jobs: 5, Supervisors: 2, RecencyDays: 60, LapseDays: 180}
}

// defaultPassPercent is a theory test's pass mark where the policy is silent.
const defaultPassPercent = 80

// Task returns what holds for a task, defaults filled in: Target and Confidence are never nil, RecencyDays and
// LapseDays never 0. The policy itself is not changed.
func (p Policy) Task(task string) TaskPolicy {
	t, ok := p.Tasks[task]
	if !ok {
		t, ok = p.Tasks[EveryTask]
	}
	d := defaultTaskPolicy()
	if !ok {
		t = d
	}
	if t.Target == nil {
		target := p.Target
		t.Target = &target
	}
	if t.Confidence == nil {
		confidence := p.Confidence
		t.Confidence = &confidence
	}
	if t.RecencyDays == 0 {
		t.RecencyDays = d.RecencyDays
	}
	if t.LapseDays == 0 {
		t.LapseDays = d.LapseDays
	}
	return t
}

// Filled returns the policy as it holds: with an entry for every task named and one for [EveryTask]. Reading its JSON
// again gives a policy that judges the same.
func (p Policy) Filled(tasks []string) Policy {
	all := maps.Clone(p.Tasks)
	if all == nil {
		all = map[string]TaskPolicy{}
	}
	for _, t := range tasks {
		all[t] = p.Task(t)
	}
	all[EveryTask] = p.Task(EveryTask)
	p.Tasks = all
	return p
}

// JSON is the policy as canonical JSON (RFC 8785), without a line end.
func (p Policy) JSON() []byte {
	b, err := json.Marshal(p)
	if err == nil {
		b, err = jcs.Transform(b)
	}
	if err != nil {
		panic("readiness: a policy holds a number that JSON cannot: " + err.Error()) // NaN or infinite: made in code only
	}
	return b
}

// Hash is the SHA-256 (hex) of the policy's canonical JSON.
func (p Policy) Hash() string { return hashHex(p.JSON()) }

// hashHex is the SHA-256 of b in lower-case hexadecimal digits.
func hashHex(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

// DecodePolicy reads a policy block (YAML or JSON). What is absent or null takes the default; within tasks, the entry
// "*" comes before the default. All faults are reported at once, with line and column of the node, in the order of the
// file; unknown keys are faults with the nearest known key in Args["nearest"]. Whether the tasks and blueprints named
// exist is for the caller to check. On any fault the policy is the default. n may be nil, a document or a mapping.
func DecodePolicy(n *yaml.Node) (Policy, []PolicyFault) {
	p, faults := ExaminePolicy(n)
	if len(faults) > 0 {
		return DefaultPolicy(), faults
	}
	return p, nil
}

// ExaminePolicy reads a policy block as DecodePolicy does, but keeps what could be read beside the faults, so that a checker can look at
// the rest too. The default stands where a fault is. Nobody may be judged by a policy with faults.
func ExaminePolicy(n *yaml.Node) (Policy, []PolicyFault) {
	d := &policyDecoder{}
	p := d.policy(n)
	sortFaults(d.faults)
	return p, d.faults
}

// ReadPolicy reads a policy file: a policy block, or a whole programme.yaml of which it takes the policy block. An empty
// file is the default policy.
func ReadPolicy(b []byte) (Policy, []PolicyFault) {
	b = withoutMark(b)
	if json.Valid(b) {
		b = spacesForTabs(b)
	}
	var doc yaml.Node
	if err := yaml.Unmarshal(b, &doc); err != nil {
		return DefaultPolicy(), []PolicyFault{unreadable(err)}
	}
	root := unwrap(&doc)
	if root != nil && root.Kind == yaml.MappingNode {
		for i := 0; i+1 < len(root.Content); i += 2 {
			if root.Content[i].Value == "policy" {
				return DecodePolicy(root.Content[i+1])
			}
		}
	}
	return DecodePolicy(root)
}

// PolicyFault is one fault of a policy block.
type PolicyFault struct {
	Line, Column int
	Code         string
	Args         map[string]string
}
