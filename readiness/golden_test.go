package readiness

import (
	"bytes"
	"os"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

// Golden verdicts: testdata/verdicts.jsonl, with reasons and next acts, and verdicts-no-gates.jsonl, of the fixture on
// goldenDates. `go test ./readiness -update` writes them. They must be the same bytes on every machine; run the test as
//
//	GOAMD64=v3 go test -run Golden ./readiness
//	CGO_ENABLED=0 GOARCH=arm64 go test -c -o readiness.test ./readiness && cd readiness && qemu-aarch64 ../readiness.test -test.run Golden
var goldenDates = []string{"2026-01-15", "2026-02-02", "2026-02-14", "2026-03-01"}

type fixture struct {
	catalogue *Catalogue
	evidence  []Record
	policy    Policy
}

func readFixture(t testing.TB) fixture {
	t.Helper()
	c, faults := ReadCatalogue(mustRead(t, "testdata/catalogue.json"))
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	e, faults := ReadEvidence(bytes.NewReader(mustRead(t, "testdata/evidence.jsonl")))
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	p, wrong := ReadPolicy(mustRead(t, "testdata/policy.yaml"))
	if len(wrong) > 0 {
		t.Fatal(wrong)
	}
	return fixture{c, e, p}
}

func mustRead(t testing.TB, file string) []byte {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func (f fixture) lines(o Options) []byte {
	var out bytes.Buffer
	for _, date := range goldenDates {
		for _, v := range Assess(f.catalogue, f.evidence, f.policy, DefaultParameters(), date, o) {
			out.Write(append(v.JSON(o.Explain), '\n'))
		}
	}
	return out.Bytes()
}

func TestGolden(t *testing.T) {
	f := readFixture(t)
	for file, o := range map[string]Options{
		"testdata/verdicts.jsonl":          {Explain: true},
		"testdata/verdicts-no-gates.jsonl": {NoGates: true},
	} {
		got := f.lines(o)
		if *update {
			if err := os.WriteFile(file, got, 0o666); err != nil {
				t.Fatal(err)
			}
		}
		want := strings.Split(string(mustRead(t, file)), "\n")
		for i, line := range strings.Split(string(got), "\n") {
			if i >= len(want) || line != want[i] {
				t.Fatalf("%s:%d: got\n%s", file, i+1, line)
			}
		}
		if string(got) != strings.Join(want, "\n") {
			t.Errorf("%s holds more lines", file)
		}
	}
}

// AssessOne gives the verdict that Assess gives, from one apprentice's evidence alone.
func TestAssessOneIsAssess(t *testing.T) {
	f := readFixture(t)
	for _, date := range goldenDates {
		for _, v := range Assess(f.catalogue, f.evidence, f.policy, DefaultParameters(), date, Options{Explain: true}) {
			own := ofApprentice(f.evidence, v.Apprentice)
			one := AssessOne(f.catalogue, own, f.policy, DefaultParameters(), v.Apprentice, v.Task, date, Options{Explain: true})
			if !bytes.Equal(one.JSON(true), v.JSON(true)) {
				t.Fatalf("got\n%s\nwant\n%s", one.JSON(true), v.JSON(true))
			}
		}
	}
}

// ofApprentice keeps an apprentice's records and, as anybody must who filters, all corrections, disputes and settlements.
func ofApprentice(evidence []Record, apprentice string) []Record {
	var own []Record
	for _, r := range evidence {
		if r.Apprentice == "" || r.Apprentice == apprentice {
			own = append(own, r)
		}
	}
	return own
}

// The fixture, and what comes of it, keep to the published schemas.
func TestSchemas(t *testing.T) {
	f := readFixture(t)
	schema := func(name string) *jsonschema.Schema {
		s, err := jsonschema.NewCompiler().Compile("../server/schemas/" + name + ".json")
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	check := func(s *jsonschema.Schema, text string) error {
		v, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		return s.Validate(v)
	}
	valid := map[string][]string{
		"catalogue-1":  {string(mustRead(t, "testdata/catalogue.json"))},
		"evidence-1":   strings.Split(strings.TrimSpace(string(mustRead(t, "testdata/evidence.jsonl"))), "\n"),
		"verdict-1":    strings.Split(strings.TrimSpace(string(f.lines(Options{Explain: true}))+string(f.lines(Options{}))), "\n"),
		"policy-1":     {"{}", string(DefaultPolicy().Filled([]string{"a"}).JSON()), string(f.policy.JSON())},
		"parameters-2": {string(DefaultParameters().JSON())},
	}
	for name, texts := range valid {
		s := schema(name)
		for _, text := range texts {
			if err := check(s, text); err != nil {
				t.Errorf("%s: %s\n%v", name, text, err)
			}
		}
	}
	invalid := map[string][]string{
		"catalogue-1": {`{}`, `{"tasks":[{"task":"a"}]}`, `{"tasks":[{"task":"a","steps":[{"step":"x"}]}]}`},
		"evidence-1": {`{}`, `{"type":"jobb"}`, `{"type":"job","apprentice":"a","task":"t","date":"2026-13-01","supervisor":"s"}`,
			`{"type":"job","apprentice":"a","task":"t","date":"2026-01-01","supervisor":"s","steps":[{"step":"x","result":"not_reached","critical_error":true}]}`,
			`{"type":"correction","corrects":"x","date":"2026-01-01","record":{"type":"correction","corrects":"y","date":"2026-01-01","record":null}}`,
			`{"type":"recognition","apprentice":"a","task":"t","date":"2026-01-01","by":["x"],"stands_for":[]}`},
		"policy-1": {`{"taget":0.9}`, `{"target":1}`, `{"tasks":{"a":{"lapse_days":0}}}`, `{"tasks":{"a":{"theory_test":{}}}}`},
		"parameters-2": {`{}`, `{"format":"brakewright-parameters/2","population":{},"tasks":[],"steps":[],"supervisors":[]}`,
			strings.Replace(string(DefaultParameters().JSON()), `"bulk":0.3`, `"bulk":1.5`, 1)},
		"verdict-1": {`{}`, strings.Replace(string(f.lines(Options{})[:bytes.IndexByte(f.lines(Options{}), '\n')]), `"ready"`, `"redy"`, 1)},
	}
	for name, texts := range invalid {
		s := schema(name)
		for _, text := range texts {
			if check(s, text) == nil {
				t.Errorf("%s passes %s", name, text)
			}
			// What the schema refuses the readers refuse.
			switch name {
			case "catalogue-1":
				if _, faults := ReadCatalogue([]byte(text)); len(faults) == 0 {
					t.Errorf("read: %s", text)
				}
			case "evidence-1":
				if _, faults := ReadEvidence(strings.NewReader(text)); len(faults) == 0 {
					t.Errorf("read: %s", text)
				}
			case "policy-1":
				if _, faults := ReadPolicy([]byte(text)); len(faults) == 0 {
					t.Errorf("read: %s", text)
				}
			case "parameters-2":
				if _, err := ReadParameters([]byte(text)); err == nil {
					t.Errorf("read: %s", text)
				}
			}
		}
	}
}
