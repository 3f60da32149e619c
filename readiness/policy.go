package readiness

import "go.yaml.in/yaml/v4"

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
	RetentionYears       int                   `json:"retention_years"`
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
	JobsPerMonth float64     `json:"jobs_per_month,omitempty"`
	TheoryTest   *TheoryTest `json:"theory_test,omitempty"` // absent: the gate is open
}

// TheoryTest is the test a task asks.
type TheoryTest struct {
	Blueprint   string `json:"blueprint"`
	PassPercent int    `json:"pass_percent"`
	Watched     bool   `json:"watched,omitempty"`
}

// DefaultPolicy is what holds where a policy is silent; `assess --print-policy` prints it.
func DefaultPolicy() Policy { return defaultPolicy() }

// TaskPolicy returns what holds for a task, defaults filled in.
func (p Policy) Task(task string) TaskPolicy { return p.task(task) }

// DecodePolicy reads a policy block (YAML or JSON). Faults carry line and column of the node; unknown keys are faults
// with the nearest known key in Args["nearest"].
func DecodePolicy(n *yaml.Node) (Policy, []PolicyFault) { return decodePolicy(n) }

// PolicyFault is one fault of a policy block.
type PolicyFault struct {
	Line, Column int
	Code         string
	Args         map[string]string
}

// Hash is the SHA-256 (hex) of the policy's canonical JSON.
func (p Policy) Hash() string { return policyHash(p) }
