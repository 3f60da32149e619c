package readiness

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"strconv"
)

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

	Kept bool `json:"kept,omitempty"` // job, spot_check, return: what speaks against a clearance, whose signer kept it

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

// StringOrList is a JSON string or a list of strings. One string is written as a string.
type StringOrList []string

// MarshalJSON writes one string as a string, any other number as a list.
func (s StringOrList) MarshalJSON() ([]byte, error) {
	if len(s) == 1 {
		return json.Marshal(s[0])
	}
	return json.Marshal([]string(s))
}

// UnmarshalJSON reads both.
func (s *StringOrList) UnmarshalJSON(b []byte) error {
	if len(b) > 0 && b[0] == '"' {
		var one string
		if err := json.Unmarshal(b, &one); err != nil {
			return err
		}
		*s = StringOrList{one}
		return nil
	}
	return json.Unmarshal(b, (*[]string)(s))
}

// InputError names one fault of an input file. The codes stand at the readers' helper in json.go.
type InputError struct {
	Line  int    // from 1; 0 if the file as a whole
	Field string // path of the field, or ""
	Code  string
	Args  map[string]string
}

// ReadEvidence reads JSON Lines: one record a line; blank lines are passed over. All faults are reported at once, each
// with its line; on any fault the records are nil. The same id twice is one record if both lines say the same, else a
// fault. What a record refers to (a task, a step, the record that a correction names) need not be there: it then has no
// effect, so that the records of one apprentice can be judged without the others'.
func ReadEvidence(r io.Reader) ([]Record, []InputError) {
	records, _, faults := ReadEvidenceLines(r)
	return records, faults
}

// ReadEvidenceLines is [ReadEvidence] with the line, from 1, on which each record stands.
func ReadEvidenceLines(r io.Reader) ([]Record, []int, []InputError) {
	var records []Record
	var lines []int
	var faults []InputError
	first := map[string]place{}
	in := bufio.NewReaderSize(r, 1<<16)
	for line := 1; ; line++ {
		b, err := readLine(in)
		if err != nil && !errors.Is(err, io.EOF) {
			faults = append(faults, InputError{Line: line, Code: "input_unreadable", Args: map[string]string{"text": err.Error()}})
			break
		}
		if line == 1 {
			b = withoutMark(b)
		}
		if text := bytes.TrimSpace(b); len(text) > 0 {
			before := len(faults)
			rec := readRecordLine(text, line, &faults)
			if len(faults) == before && !seenBefore(rec, line, records, first, &faults) {
				records, lines = append(records, rec), append(lines, line)
			}
		}
		if err != nil {
			break
		}
	}
	if len(faults) > 0 {
		return nil, nil, faults
	}
	return records, lines, nil
}

// readLine returns the next line, which may be of any length; it is valid until the next call.
func readLine(in *bufio.Reader) ([]byte, error) {
	b, err := in.ReadSlice('\n')
	if !errors.Is(err, bufio.ErrBufferFull) {
		return b, err
	}
	long := bytes.Clone(b)
	rest, err := in.ReadBytes('\n')
	return append(long, rest...), err
}

// place is where an id was first seen.
type place struct{ line, record int }

// seenBefore says whether rec is a repetition to be passed over.
func seenBefore(rec Record, line int, records []Record, first map[string]place, faults *[]InputError) bool {
	if rec.ID == "" {
		return false
	}
	p, again := first[rec.ID]
	if !again {
		first[rec.ID] = place{line: line, record: len(records)}
		return false
	}
	if p.record >= len(records) || compareContent(&records[p.record], &rec) != 0 {
		*faults = append(*faults, InputError{Line: line, Field: "id", Code: "input_duplicate_id",
			Args: map[string]string{"value": rec.ID, "line": strconv.Itoa(p.line)}})
	}
	return true
}

// ReadRecord reads one record from its JSON.
func ReadRecord(b []byte) (Record, []InputError) {
	var faults []InputError
	rec := readRecordLine(b, 1, &faults)
	if len(faults) > 0 {
		return Record{}, faults
	}
	return rec, nil
}

func readRecordLine(b []byte, line int, faults *[]InputError) Record {
	v, fault := parseJSON(b, line)
	if fault != nil {
		*faults = append(*faults, *fault)
		return Record{}
	}
	return readRecord("", v, faults)
}

// recordTypes are all types of records.
var recordTypes = []string{"job", "unwatched_job", "spot_check", "return", "answers", "theory_test", "reading",
	"clearance", "stand_down", "restore", "recognition", "correction", "dispute", "settlement", "leave"}

// readRecord takes only the fields that belong to the record's type; any other is as good as unknown.
func readRecord(path string, v jsonValue, faults *[]InputError) Record {
	r, ok := object(faults, path, v)
	if !ok {
		return Record{}
	}
	rec := Record{ID: r.text("id", false), Type: r.choice("type", true, recordTypes...)}
	if path != "" && rec.Type == "correction" {
		at, _ := r.get("type")
		r.fault(at.line, join(path, "type"), "input_correction_inside")
		return Record{}
	}
	switch rec.Type {
	case "correction":
		rec.Date = r.date("date", true)
		rec.Corrects = r.text("corrects", true)
		readReplacement(r, &rec)
		return rec
	case "dispute", "settlement":
		rec.Date = r.date("date", true)
		rec.Disputes = r.text("disputes", true)
		if rec.Type == "settlement" {
			rec.Upheld = r.yes("upheld", false)
		}
		return rec
	case "leave":
		rec.Apprentice = r.text("apprentice", true)
		rec.From, rec.To = r.date("from", true), r.date("to", true)
		if validDate(rec.From) && validDate(rec.To) && rec.To < rec.From {
			at, _ := r.get("to")
			r.fault(at.line, join(path, "to"), "input_wrong_order", "from", rec.From, "to", rec.To)
		}
		return rec
	case "":
		return rec
	}
	rec.Apprentice = r.text("apprentice", true)
	rec.Date = r.date("date", true)
	switch rec.Type {
	case "answers", "reading":
	case "stand_down", "restore":
		rec.Task = r.text("task", false)
	default:
		rec.Task = r.text("task", true)
	}
	switch rec.Type {
	case "job":
		readJob(r, &rec)
	case "spot_check":
		rec.Supervisor = r.text("supervisor", true)
		rec.Finding = r.choice("finding", true, "sound", "flaw", "unsafe")
		rec.Kept = r.yes("kept", false)
	case "return":
		rec.Finding = r.choice("finding", true, "our_work", "part", "other", "unknown")
		rec.Kept = r.yes("kept", false)
	case "answers":
		readAnswers(r, &rec)
	case "theory_test":
		rec.Edition = r.text("edition", false)
		rec.Passed, rec.Watched = r.yes("passed", false), r.yes("watched", false)
	case "reading":
		rec.Lesson, rec.Edition = r.text("lesson", true), r.text("edition", true)
	case "clearance":
		readClearance(r, &rec)
	case "stand_down":
		rec.By = r.people("by")
		if _, said := r.get("signed"); said {
			signed := r.yes("signed", true)
			rec.Signed = &signed
		}
	case "restore":
		rec.By = r.people("by")
	case "recognition":
		readRecognition(r, &rec)
	}
	return rec
}

func readJob(r reader, rec *Record) {
	rec.Supervisor = r.text("supervisor", true)
	rec.Difficulty = r.choice("difficulty", false, "routine", "usual", "awkward")
	rec.Vehicle, rec.Layout = r.text("vehicle", false), r.text("layout", false)
	rec.Outcome = r.choice("outcome", false, "finished", "rightly_stopped", "stopped_by_supervisor", "interrupted")
	rec.NearMiss, rec.Kept = r.yes("near_miss", false), r.yes("kept", false)
	r.elements("steps", false, func(path string, v jsonValue) {
		s, ok := object(r.faults, path, v)
		if !ok {
			return
		}
		step := StepResult{
			Step:          s.text("step", true),
			Result:        s.choice("result", true, "unaided", "prompted", "taken_over", "not_reached", "not_applicable"),
			CriticalError: s.yes("critical_error", false),
			Bulk:          s.yes("bulk", false),
		}
		if step.CriticalError && (step.Result == "not_reached" || step.Result == "not_applicable") {
			s.fault(v.line, join(path, "critical_error"), "input_not_possible", "result", step.Result)
		}
		rec.Steps = append(rec.Steps, step)
	})
	r.elements("oral", false, func(path string, v jsonValue) {
		if o, ok := object(r.faults, path, v); ok {
			rec.Oral = append(rec.Oral, OralAnswer{Question: o.text("question", true), Satisfactory: o.yes("satisfactory", true)})
		}
	})
}

func readAnswers(r reader, rec *Record) {
	r.elements("answers", true, func(path string, v jsonValue) {
		if a, ok := object(r.faults, path, v); ok {
			rec.Answers = append(rec.Answers, AnswerResult{Question: a.text("question", true), Task: a.text("task", true), Correct: a.yes("correct", true)})
		}
	})
}

func readClearance(r reader, rec *Record) {
	rec.By = r.people("by")
	rec.Until = r.date("until", false)
	rec.Waiver = r.yes("waiver", false)
	if v, ok := r.get("limits"); ok {
		if _, ok := object(r.faults, join(r.path, "limits"), v); ok {
			rec.Limits = bytes.Clone(v.raw)
		}
	}
}

func readRecognition(r reader, rec *Record) {
	rec.By = r.people("by")
	rec.Jobs = r.count("jobs", 0, 1000)
	r.elements("stands_for", true, func(path string, v jsonValue) {
		if v.kind != '"' {
			r.fault(v.line, path, "input_wrong_type", "want", "text")
			return
		}
		gate := unquote(v.raw)
		for _, g := range GateNames {
			if g == gate {
				rec.StandsFor = append(rec.StandsFor, gate)
				return
			}
		}
		r.fault(v.line, path, "input_unknown_value", "value", gate, "allowed", list(GateNames))
	})
	if different(rec.By) < 2 {
		v, _ := r.get("by")
		r.fault(max(v.line, r.v.line), join(r.path, "by"), "input_too_few", "need", "2", "have", strconv.Itoa(different(rec.By)))
	}
}

func different(words []string) int {
	seen := map[string]bool{}
	for _, w := range words {
		seen[w] = true
	}
	return len(seen)
}

// readReplacement reads the record of a correction; null withdraws, an absent one is a fault.
func readReplacement(r reader, rec *Record) {
	v, ok := r.get("record")
	if !ok {
		if v.kind != 'n' {
			r.missing("record")
		}
		rec.Record = json.RawMessage("null")
		return
	}
	readRecord(join(r.path, "record"), v, r.faults)
	rec.Record = bytes.Clone(v.raw)
}
