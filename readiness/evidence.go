package readiness

import "encoding/json"

// Record is one line of evidence. Which fields count follows from Type; unknown fields are ignored.
// Types: job, unwatched_job, spot_check, return, answers, theory_test, reading, clearance, stand_down, restore,
// recognition, correction, dispute, settlement, leave.
type Record struct {
	ID         string `json:"id,omitempty"`
	Type       string `json:"type"`
	Apprentice string `json:"apprentice,omitempty"`
	Task       string `json:"task,omitempty"`
	Date       string `json:"date,omitempty"`

	// job, spot_check
	Supervisor string       `json:"supervisor,omitempty"`
	Difficulty string       `json:"difficulty,omitempty"` // routine, usual (default), awkward
	Vehicle    string       `json:"vehicle,omitempty"`
	Layout     string       `json:"layout,omitempty"`
	Outcome    string       `json:"outcome,omitempty"` // finished (default), rightly_stopped, stopped_by_supervisor, interrupted
	Steps      []StepResult `json:"steps,omitempty"`
	NearMiss   bool         `json:"near_miss,omitempty"`
	Oral       []OralAnswer `json:"oral,omitempty"`
	Finding    string       `json:"finding,omitempty"` // spot_check: sound, flaw, unsafe; return: our_work, part, other, unknown

	Answers []AnswerResult `json:"answers,omitempty"` // answers
	Lesson  string         `json:"lesson,omitempty"`  // reading
	Edition string         `json:"edition,omitempty"` // reading, theory_test
	Passed  bool           `json:"passed,omitempty"`  // theory_test
	Watched bool           `json:"watched,omitempty"` // theory_test

	By     StringOrList    `json:"by,omitempty"`     // clearance, stand_down, restore; two for a recognition
	Limits json.RawMessage `json:"limits,omitempty"` // clearance
	Until  string          `json:"until,omitempty"`  // clearance
	Waiver bool            `json:"waiver,omitempty"` // clearance
	Signed *bool           `json:"signed,omitempty"` // stand_down: false until signed; absent: signed

	StandsFor []string        `json:"stands_for,omitempty"` // recognition: gates
	Jobs      int             `json:"jobs,omitempty"`       // recognition
	Corrects  string          `json:"corrects,omitempty"`   // correction
	Record    json.RawMessage `json:"record,omitempty"`     // correction: the new record, or null to withdraw
	Disputes  string          `json:"disputes,omitempty"`   // dispute, settlement
	Upheld    bool            `json:"upheld,omitempty"`     // settlement: the dispute was right, the record falls
	From      string          `json:"from,omitempty"`       // leave
	To        string          `json:"to,omitempty"`         // leave
}

// StepResult is one step of a watched job.
type StepResult struct {
	Step          string `json:"step"`   // of the catalogue, with @WHEEL where repeated
	Result        string `json:"result"` // unaided, prompted, taken_over, not_reached, not_applicable
	CriticalError bool   `json:"critical_error,omitempty"`
	Bulk          bool   `json:"bulk,omitempty"`
}

// OralAnswer is an oral question at the car.
type OralAnswer struct {
	Question     string `json:"question"`
	Satisfactory bool   `json:"satisfactory"`
}

// AnswerResult is one assessed answer.
type AnswerResult struct {
	Question string `json:"question"`
	Task     string `json:"task"`
	Correct  bool   `json:"correct"`
}

// StringOrList is a JSON string or a list of strings.
type StringOrList []string

// InputError names one fault of an input file.
type InputError struct {
	Line  int    // from 1; 0 if the file as a whole
	Field string // path of the field, or ""
	Code  string
	Args  map[string]string
}
