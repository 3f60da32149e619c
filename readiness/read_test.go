package readiness

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"os"
	"reflect"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"
)

// Every fault of a file is named at once.
func TestReadEvidenceFaults(t *testing.T) {
	lines := strings.Join([]string{
		/* 1 */ `{"type":"job","apprentice":"ana","task":"bleed","date":"2026-02-30","supervisor":"","steps":[{"step":"a","result":"alone"},{"result":"unaided","bulk":"yes"}]}`,
		/* 2 */ ``,
		/* 3 */ `{"type":"jobb"}`,
		/* 4 */ `{"type":"job","type":"job","apprentice":"ana","task":"bleed","date":"2026-02-03","supervisor":"sam","steps":[]}`,
		/* 5 */ `not JSON`,
		/* 6 */ `[1]`,
		/* 7 */ `{"type":"leave","apprentice":"ana","from":"2026-02-03","to":"2026-02-01"}`,
		/* 8 */ `{"type":"recognition","apprentice":"ana","task":"bleed","date":"2026-02-03","by":["co","co"],"stands_for":["jobs","luck"],"jobs":-1}`,
		/* 9 */ `{"type":"job","apprentice":"ana","task":"bleed","date":"2026-02-03","supervisor":"sam","steps":[{"step":"a","result":"not_reached","critical_error":true}]}`,
		/* 10 */ `{"type":"correction","corrects":"x","date":"2026-02-03","record":{"type":"job","apprentice":"ana"}}`,
		/* 11 */ `{"type":"correction","corrects":"x","date":"2026-02-03"}`,
		/* 12 */ `{"type":"correction","corrects":"x","date":"2026-02-03","record":{"type":"correction","corrects":"y","date":"2026-02-03","record":null}}`,
		/* 13 */ `{"id":"a","type":"dispute","disputes":"x","date":"2026-02-03"}`,
		/* 14 */ `{"id":"a","type":"dispute","disputes":"y","date":"2026-02-03"}`,
		/* 15 */ "{\"type\":\"dispute\",\"disputes\":\"\xff\",\"date\":\"2026-02-03\"}",
		/* 16 */ `{"type":"clearance","apprentice":"ana","task":"bleed","date":"2026-02-03","by":7,"limits":[],"until":20260301}`,
		/* 17 */ `{"type":"answers","apprentice":"ana","date":"2026-02-03","answers":{}}`,
		/* 18 */ `{"type":"spot_check","apprentice":"ana","task":"bleed","date":"2026-02-03","supervisor":"sam","finding":"our_work"}`,
	}, "\n")
	records, faults := ReadEvidence(strings.NewReader(lines))
	if records != nil {
		t.Error("records in spite of faults")
	}
	type short struct {
		line        int
		field, code string
	}
	var got []short
	for _, f := range faults {
		got = append(got, short{f.Line, f.Field, f.Code})
	}
	want := []short{
		{1, "date", "input_bad_date"}, {1, "supervisor", "input_empty"}, {1, "steps[0].result", "input_unknown_value"},
		{1, "steps[1].step", "input_missing"}, {1, "steps[1].bulk", "input_wrong_type"},
		{3, "type", "input_unknown_value"},
		{4, "type", "input_duplicate_key"},
		{5, "", "input_not_json"},
		{6, "", "input_wrong_type"},
		{7, "to", "input_wrong_order"},
		{8, "jobs", "input_out_of_range"}, {8, "stands_for[1]", "input_unknown_value"}, {8, "by", "input_too_few"},
		{9, "steps[0].critical_error", "input_not_possible"},
		{10, "record.date", "input_missing"}, {10, "record.task", "input_missing"}, {10, "record.supervisor", "input_missing"},
		{11, "record", "input_missing"},
		{12, "record.type", "input_correction_inside"},
		{14, "id", "input_duplicate_id"},
		{15, "", "input_not_utf8"},
		{16, "by", "input_wrong_type"}, {16, "until", "input_wrong_type"}, {16, "limits", "input_wrong_type"},
		{17, "answers", "input_wrong_type"},
		{18, "finding", "input_unknown_value"},
	}
	if d := cmp.Diff(want, got, cmp.AllowUnexported(short{})); d != "" {
		t.Errorf("(-want +got)\n%s", d)
	}
}

func TestReadEvidence(t *testing.T) {
	in := "\n" + `{"type":"job","id":"1","apprentice":"ana","task":"bleed","date":"2026-02-03","supervisor":"sam","steps":[{"step":"a","result":"unaided","mood":"good"}],"Date":"2026-02-04","weather":{"rain":true},"by":"nobody"}` + "\r\n" +
		`{"type":"stand_down","apprentice":"ana","task":null,"date":"2026-02-03","by":"sam","signed":false}` + "\n   \n" +
		`{"type":"clearance","apprentice":"ana","task":"bleed","date":"2026-02-03","by":["sam","co"],"limits":{"layouts":["diagonal"]},"until":"2026-03-01","waiver":true}` + "\n" +
		`{"type":"job","id":"1","apprentice":"ana","task":"bleed","date":"2026-02-03","supervisor":"sam","steps":[{"step":"a","result":"unaided"}]}` + "\n" +
		`{"type":"correction","corrects":"1","date":"2026-02-05","record":null}`
	got, faults := ReadEvidence(iotest.OneByteReader(strings.NewReader(in)))
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	no := false
	want := []Record{
		{ID: "1", Type: "job", Apprentice: "ana", Task: "bleed", Date: "2026-02-03", Supervisor: "sam", Steps: []StepResult{{Step: "a", Result: "unaided"}}},
		{Type: "stand_down", Apprentice: "ana", Date: "2026-02-03", By: StringOrList{"sam"}, Signed: &no},
		{Type: "clearance", Apprentice: "ana", Task: "bleed", Date: "2026-02-03", By: StringOrList{"sam", "co"}, Limits: json.RawMessage(`{"layouts":["diagonal"]}`), Until: "2026-03-01", Waiver: true},
		{Type: "correction", Corrects: "1", Date: "2026-02-05", Record: json.RawMessage("null")},
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("(-want +got)\n%s", d)
	}
}

func TestReadEvidenceBroken(t *testing.T) {
	_, faults := ReadEvidence(io.MultiReader(strings.NewReader("\n"), iotest.ErrReader(errors.New("the disk is gone"))))
	if len(faults) != 1 || faults[0].Code != "input_unreadable" || faults[0].Line != 2 {
		t.Errorf("got %v", faults)
	}
	long := `{"type":"dispute","disputes":"` + strings.Repeat("x", 1<<18) + `","date":"2026-02-03"}`
	records, faults := ReadEvidence(strings.NewReader(long + "\n" + long))
	if len(faults) > 0 || len(records) != 2 {
		t.Errorf("long lines: %d records, %v", len(records), faults)
	}
}

func TestReadCatalogue(t *testing.T) {
	c, faults := ReadCatalogue([]byte(`{"tasks":[{"task":"a","steps":[{"step":"x","critical":true}],"lessons":[{"lesson":"l","edition":"e","reread_after":["d"]}]},{"task":"b","prerequisites":["a"],"steps":[]}],"supervisors":[{"supervisor":"s"}],"questions":[{"question":"q","task":"a"}],"more":1}`))
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	want := &Catalogue{
		Tasks: []CatalogueTask{
			{Task: "a", Steps: []CatalogueStep{{Step: "x", Critical: true}}, Lessons: []CatalogueLesson{{Lesson: "l", Edition: "e", RereadAfter: []string{"d"}}}},
			{Task: "b", Prerequisites: []string{"a"}},
		},
		Supervisors: []CatalogueSupervisor{{Supervisor: "s"}},
		Questions:   []CatalogueQuestion{{Question: "q", Task: "a"}},
	}
	if d := cmp.Diff(want, c); d != "" {
		t.Errorf("(-want +got)\n%s", d)
	}

	for in, want := range map[string]string{
		`{`:                 "1  input_not_json",
		"\n\n[]":            "3  input_wrong_type",
		`{}`:                "1 tasks input_missing",
		`{"tasks":[{}]}`:    "1 tasks[0].task input_missing, 1 tasks[0].steps input_missing",
		`{"tasks":{}}`:      "1 tasks input_wrong_type",
		"{\"tasks\":[\n7]}": "2 tasks[0] input_wrong_type",
		`{"tasks":[{"task":"a","steps":[{"step":"x"}]}]}`:                                                                            "1 tasks[0].steps[0].critical input_missing",
		"{\"tasks\":[{\"task\":\"a\",\"steps\":[]},\n{\"task\":\"a\",\"steps\":[]}]}":                                                "2 tasks[1].task input_duplicate_id",
		`{"tasks":[{"task":"a","steps":[{"step":"x","critical":true},{"step":"x","critical":false}]}]}`:                              "1 tasks[0].steps[1].step input_duplicate_id",
		`{"tasks":[{"task":"a","steps":[],"prerequisites":["b"]}]}`:                                                                  "1 tasks[0].prerequisites input_unknown_task",
		`{"tasks":[{"task":"a","steps":[],"prerequisites":["b"]},{"task":"b","steps":[],"prerequisites":["a"]}]}`:                    "1 tasks[0].prerequisites input_cycle, 1 tasks[1].prerequisites input_cycle",
		`{"tasks":[],"supervisors":[{"supervisor":"s"},{"supervisor":"s"}]}`:                                                         "1 supervisors[1].supervisor input_duplicate_id",
		`{"tasks":[{"task":"a","steps":[],"lessons":[{"lesson":"l","edition":""}]}]}`:                                                "1 tasks[0].lessons[0].edition input_empty",
		`{"tasks":[{"task":"a","steps":[],"lessons":[{"lesson":"l","edition":"e"},{"lesson":"l","edition":"f","reread_after":3}]}]}`: "1 tasks[0].lessons[1].reread_after input_wrong_type, 1 tasks[0].lessons[1].lesson input_duplicate_id",
	} {
		c, faults := ReadCatalogue([]byte(in))
		var got []string
		for _, f := range faults {
			got = append(got, decimal(f.Line)+" "+f.Field+" "+f.Code)
		}
		if c != nil || strings.Join(got, ", ") != want {
			t.Errorf("%s: got %v", in, got)
		}
	}
}

func TestReadParameters(t *testing.T) {
	p := DefaultParameters()
	again, err := ReadParameters(p.JSON())
	if err != nil || !reflect.DeepEqual(again, p) || again.Hash() != p.Hash() {
		t.Errorf("got %v, %v", again, err)
	}
	old := `{"format":"brakewright-parameters/1","window":15,"prior":[{"percent":40,"alpha":99,"beta":1},{"percent":60,"alpha":3,"beta":2}]}`
	if q, err := ReadParameters([]byte(old)); err != nil || q.Hash() != p.Hash() {
		t.Errorf("the first format: got %v, %v", q, err)
	}
	text := string(p.JSON())
	full := strings.Replace(text, `"supervisors":[]`, `"supervisors":[{"supervisor":"toni","severity":-0.3,"se":0.2,"unseen":0.1},{"supervisor":"sam","severity":0.4,"se":0.1,"unseen":0}]`, 1)
	full = strings.Replace(full, `"tasks":[],"steps":[]`, `"tasks":[{"task":"a","ease":0.5}],"steps":[{"step":"a/b","difficulty":-0.5}]`, 1)
	if q, err := ReadParameters([]byte(full)); err != nil || q.Supervisors[0].Supervisor != "sam" || q.Tasks[0].Ease != 0.5 || q.Steps[0].Difficulty != -0.5 {
		t.Errorf("got %v, %v", q, err)
	}
	for _, bad := range []string{
		``, `{}`, `null`, `{"format":"other"}`, text + "{}", text + " x",
		strings.Replace(text, `"population"`, `"up_to":"2026-02-30","population"`, 1),
		strings.Replace(text, `"ability":4.15,`, ``, 1),
		strings.Replace(text, `"ability":4.15`, `"ability":20`, 1),
		strings.Replace(text, `"ability":4.15`, `"ability":"x"`, 1),
		strings.Replace(text, `"bulk":0.3`, `"bulk":1.1`, 1),
		strings.Replace(text, `"tasks":[]`, `"tasks":[],"more":1`, 1),
		strings.Replace(full, `"sam"`, `"toni"`, 1),
		strings.Replace(full, `"sam"`, `""`, 1),
		strings.Replace(full, `"se":0.1`, `"se":-0.1`, 1),
		strings.Replace(full, `"severity":0.4`, `"severity":5`, 1),
		strings.Replace(full, `"unseen":0.1}`, `"unseen":2}`, 1),
		strings.Replace(full, `"difficulty":-0.5`, `"difficulty":-5`, 1),
		strings.Replace(full, `"ease":0.5`, `"ease":50`, 1),
	} {
		if got, err := ReadParameters([]byte(bad)); err == nil || !reflect.DeepEqual(got, Parameters{}) {
			t.Errorf("%s: got %v, %v", bad, got, err)
		}
	}
}

func FuzzReadEvidence(f *testing.F) {
	golden, err := os.ReadFile("testdata/evidence.jsonl")
	if err != nil {
		f.Fatal(err)
	}
	for line := range bytes.Lines(golden) { // one a line: the whole file would make each run slow
		f.Add(line)
	}
	f.Add([]byte(`{"type":"correction","corrects":"1","date":"2026-02-05","record":{"type":"leave","apprentice":"a\u0000\"","from":"2026-01-01","to":"2026-01-02"}}`))
	f.Add([]byte("{\"type\":\"job\",\"\\u0069d\":\"1\" , \"steps\" : [ {} , {} ],\t\"jobs\":1e3}"))
	f.Fuzz(func(t *testing.T, b []byte) {
		records, faults := ReadEvidence(bytes.NewReader(b))
		if len(faults) > 0 {
			if records != nil {
				t.Fatal("records in spite of faults")
			}
			return
		}
		// What was read is written so that it reads the same, and it can be judged.
		var again bytes.Buffer
		for _, r := range records {
			line, err := json.Marshal(r)
			if err != nil {
				t.Fatal(err)
			}
			again.Write(append(line, '\n'))
		}
		back, faults := ReadEvidence(&again)
		if len(faults) > 0 || len(back) != len(records) {
			t.Fatalf("written again: %v\n%d records, now %d", faults, len(records), len(back))
		}
		for i := range records {
			if compareContent(&records[i], &back[i]) != 0 || records[i].ID != back[i].ID {
				t.Fatalf("written again: %+v, was %+v", back[i], records[i])
			}
		}
		for _, v := range Assess(sampleCatalogue(), records, samplePolicy(), DefaultParameters(), "2026-02-01", Options{Explain: true}) {
			if !json.Valid(v.JSON(true)) {
				t.Fatalf("not JSON: %s", v.JSON(true))
			}
		}
	})
}

func FuzzReadCatalogue(f *testing.F) {
	golden, err := os.ReadFile("testdata/catalogue.json")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(golden)
	f.Fuzz(func(t *testing.T, b []byte) {
		c, faults := ReadCatalogue(b)
		if (c == nil) != (len(faults) > 0) {
			t.Fatalf("catalogue %v, faults %v", c, faults)
		}
		if c != nil {
			Assess(c, threeClean(), DefaultPolicy(), DefaultParameters(), "2026-02-01", Options{Explain: true})
		}
	})
}
