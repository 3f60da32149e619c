package quiz_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"brakewright/quiz"
	"brakewright/server/schemas"
)

var update = flag.Bool("update", false, "write golden files anew")

// mustSchema compiles a published schema.
func mustSchema(t testing.TB, name string) *jsonschema.Schema {
	t.Helper()
	b, err := schemas.FS.ReadFile(name + ".json")
	if err != nil {
		t.Fatal(err)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	id := doc.(map[string]any)["$id"].(string)
	if id != "urn:brakewright:schema:"+name {
		t.Fatalf("%s: $id %s", name, id)
	}
	if err := c.AddResource(id, doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile(id)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func valid(t testing.TB, s *jsonschema.Schema, b []byte) error {
	t.Helper()
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	return s.Validate(v)
}

// What is written keeps to the published schemas and reads back as it was.
func TestJSONKeepsToSchemas(t *testing.T) {
	form, public, answers, marks := mustSchema(t, "form-1"), mustSchema(t, "public-form-1"), mustSchema(t, "answers-1"), mustSchema(t, "marks-1")
	for name, p := range programmes(t) {
		for seed := range 20 {
			for _, car := range vehicleIDs(p) {
				f := mustGenerate(t, p, quiz.Request{Questions: 40}, quiz.Draw{Seed: uint64(seed), Vehicle: car})
				b := f.JSON()
				if err := valid(t, form, b); err != nil {
					t.Fatalf("%s: %v", name, err)
				}
				again, err := quiz.ReadForm(b)
				if err != nil {
					t.Fatal(err)
				}
				if !bytes.Equal(again.JSON(), b) {
					t.Fatal("a form read and written again differs")
				}
				open, err := json.Marshal(f.Public())
				if err != nil {
					t.Fatal(err)
				}
				if err := valid(t, public, open); err != nil {
					t.Fatalf("%s: %v", name, err)
				}
				a := &quiz.Answers{Answers: map[string]quiz.Answer{}}
				for i, q := range f.Questions {
					if i%2 == 0 {
						a.Answers[q.ID] = right(q)
					} else {
						a.Answers[q.ID] = wrong(q)
					}
				}
				ab := quiz.AnswersJSON(a)
				if err := valid(t, answers, ab); err != nil {
					t.Fatalf("%s: %v", name, err)
				}
				read, err := quiz.ReadAnswers(ab, f)
				if err != nil {
					t.Fatalf("%v\n%s", err, ab)
				}
				if !bytes.Equal(quiz.AnswersJSON(read), ab) {
					t.Fatal("answers read and written again differ")
				}
				m := quiz.Mark(f, read, "en")
				if err := valid(t, marks, m.JSON()); err != nil {
					t.Fatalf("%s: %v", name, err)
				}
				if m.Points != (len(f.Questions)+1)/2 {
					t.Fatalf("%d points of %d", m.Points, len(f.Questions))
				}
			}
		}
	}
}

// Nothing that tells the key leaves with the public form.
func TestPublicFormTellsNothing(t *testing.T) {
	p := mustBuild(t, tricky)
	f := mustGenerate(t, p, quiz.Request{Questions: 60}, quiz.Draw{Vehicle: "rig-one"})
	b, err := json.Marshal(f.Public())
	if err != nil {
		t.Fatal(err)
	}
	for _, word := range []string{`"key"`, `"element"`, `"family"`, `"source"`, `"explanation"`, `"slips"`, `"critical"`, `"edition"`, "procedure/", "/slip-"} {
		if n := strings.Count(string(b), word); n > 0 && word != `"edition"` {
			t.Errorf("%s stands %d times in the public form", word, n)
		}
	}
	var generic struct{ Questions []map[string]any }
	if err := json.Unmarshal(b, &generic); err != nil {
		t.Fatal(err)
	}
	for _, q := range generic.Questions {
		for field := range q {
			if !strings.Contains(" id kind lesson vehicle picture stem options targets ", " "+field+" ") {
				t.Errorf("field %s", field)
			}
		}
	}
}

// The bytes of a form are the contract: the example programme's form is kept. Run with -update after a change of the
// generator's version.
func TestGoldenForm(t *testing.T) {
	for _, row := range []struct {
		file string
		d    quiz.Draw
		r    quiz.Request
	}{
		{"form-format-en.json", quiz.Draw{Seed: 7, Number: 1, Language: "en", Vehicle: "flatbed"}, quiz.Request{Blueprint: "repack-theory"}},
		{"form-format-es.json", quiz.Draw{Seed: 7, Number: 2, Language: "es"}, quiz.Request{Task: "repack-hubs", Questions: 8}},
	} {
		p := mustLoad(t, "../testdata/format")
		got := mustGenerate(t, p, row.r, row.d).JSON()
		path := "testdata/" + row.file
		if *update {
			if err := os.WriteFile(path, got, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got, bytes.ReplaceAll(want, []byte("\r\n"), []byte("\n"))) {
			t.Errorf("%s differs; got\n%s", path, got)
		}
	}
}

// handForm holds one question of every kind.
const handForm = `{"format":"brakewright-form/1","generator":"brakewright-generator/1","programme_edition":"e","blueprint":null,"seed":18446744073709551615,"number":1,"language":"en","vehicle":null,"pass_percent":50,"questions":[
{"id":"s","family":"f","kind":"single","lesson":"l","edition":"e","vehicle":null,"critical":false,"stem":"S","options":[{"id":"a","text":"A","element":"x"},{"id":"b","text":"B","element":"x"}],"key":"a","source":{"file":"f","line":1,"element":"x"},"explanation":""},
{"id":"v","family":"f","kind":"several","lesson":"l","edition":"e","vehicle":null,"critical":false,"stem":"S","options":[{"id":"a","text":"A","element":"x"},{"id":"b","text":"B","element":"x"},{"id":"c","text":"C","element":"x"}],"key":["a","c"],"source":{"file":"f","line":1,"element":"x"},"explanation":""},
{"id":"o","family":"f","kind":"order","lesson":"l","edition":"e","vehicle":null,"critical":true,"stem":"S","options":[{"id":"a","text":"A","element":"x"},{"id":"b","text":"B","element":"x"},{"id":"c","text":"C","element":"x"}],"key":[["a","b"],["b","c"],["a","c"]],"source":{"file":"f","line":1,"element":"x"},"explanation":""},
{"id":"m","family":"f","kind":"match","lesson":"l","edition":"e","vehicle":null,"critical":false,"stem":"S","options":[{"id":"a","text":"A","element":"x"},{"id":"b","text":"B","element":"x"}],"targets":[{"id":"t","text":"T","element":"x"},{"id":"u","text":"U","element":"x"}],"key":[["a","u"],["b","t"]],"source":{"file":"f","line":1,"element":"x"},"explanation":""},
{"id":"n","family":"f","kind":"number","lesson":"l","edition":"e","vehicle":null,"critical":false,"stem":"S","options":[],"key":{"value":"22.5","unit":"mm","tolerance":"0.05"},"source":{"file":"f","line":1,"element":"x"},"explanation":""},
{"id":"p","family":"f","kind":"point","lesson":"l","edition":"e","vehicle":null,"critical":false,"picture":{"path":"p","edition":"e"},"stem":"S","options":[{"id":"a","text":"1","element":"x"},{"id":"b","text":"2","element":"x"}],"key":"b","source":{"file":"f","line":1,"element":"x"},"explanation":""}]}`

func TestReadFormRefuses(t *testing.T) {
	if _, err := quiz.ReadForm([]byte(handForm)); err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct{ name, old, new, want string }{
		{"another format", `form/1"`, `form/2"`, `the format is "brakewright-form/2"`},
		{"an unknown field", `"number":1`, `"number":1,"extra":1`, "unknown field"},
		{"something behind", `"b","source":{"file":"f","line":1,"element":"x"},"explanation":""}]}`, `"b","source":{"file":"f","line":1,"element":"x"},"explanation":""}]} {}`, "follows"},
		{"a question twice", `"id":"v"`, `"id":"s"`, "stands twice in the form"},
		{"an option twice", `{"id":"b","text":"B","element":"x"}],"key":"a"`, `{"id":"a","text":"B","element":"x"}],"key":"a"`, "stands twice"},
		{"an unknown kind", `"kind":"point"`, `"kind":"guess"`, `no kind "guess"`},
		{"a key of another kind", `"key":"a"`, `"key":["a"]`, "does not fit"},
		{"a strange key", `"key":"a"`, `"key":"z"`, "none of the options"},
		{"a list with strangers", `"key":["a","c"]`, `"key":["a","z"]`, "list of different options"},
		{"an open order", `["b","c"],["a","c"]]`, `["b","c"]]`, "not transitively closed"},
		{"an order that goes round", `["b","c"],["a","c"]]`, `["b","a"]]`, "before one another"},
		{"a match of one target", `[["a","u"],["b","t"]]`, `[["a","u"],["b","u"]]`, "at most once"},
		{"a match that leaves one out", `[["a","u"],["b","t"]]`, `[["a","u"]]`, "without a target"},
		{"a figure that is none", `"value":"22.5"`, `"value":"22,5"`, "no decimal"},
		{"an unknown unit", `"unit":"mm"`, `"unit":"furlong"`, "no unit"},
		{"a negative tolerance", `"tolerance":"0.05"`, `"tolerance":"-0.05"`, "negative"},
		{"no questions", `"questions":[`, `"questions":null,"x":[`, "unknown field"},
	} {
		text := strings.Replace(handForm, row.old, row.new, 1)
		if text == handForm {
			t.Fatalf("%s: nothing replaced", row.name)
		}
		f, err := quiz.ReadForm([]byte(text))
		if f != nil || err == nil || !strings.Contains(err.Error(), row.want) {
			t.Errorf("%s: %v, want %q", row.name, err, row.want)
		}
	}
}

func TestReadAnswers(t *testing.T) {
	f, err := quiz.ReadForm([]byte(handForm))
	if err != nil {
		t.Fatal(err)
	}
	file := func(answers string) []byte {
		return []byte(`{"format":"brakewright-answers/1","answers":{` + answers + `}}`)
	}
	all := `"s":"a","v":["c","a"],"o":["a","b","c"],"m":[["b","t"],["a","u"]],"n":"22,5","p":"b"`
	a, err := quiz.ReadAnswers(file(all), f)
	if err != nil {
		t.Fatal(err)
	}
	if m := quiz.Mark(f, a, "es"); m.Percent != 100 || !*m.Passed {
		t.Errorf("%s", m.JSON())
	}
	a, err = quiz.ReadAnswers(file(`"s":null,"n":{"value":"2.25","unit":"cm"},"o":[],"v":[],"m":[]`), f)
	if err != nil {
		t.Fatal(err)
	}
	if m := quiz.Mark(f, a, ""); m.Points != 1 || *m.Passed || len(m.CriticalFailed) != 1 {
		t.Errorf("%s", m.JSON())
	}
	for answers, want := range map[string]string{
		`"z":"a"`:                       "there is no question z",
		`"s":"z"`:                       "question s: kind single expects the id of one option",
		`"s":["a"]`:                     "question s: kind single expects",
		`"v":"a"`:                       "question v: kind several expects a list of ids",
		`"v":["a","a"]`:                 "question v",
		`"o":["a","z"]`:                 "question o: kind order expects a list of ids of options, first to last",
		`"o":[["a","b"]]`:               "question o",
		`"m":[["a","z"]]`:               "question m: kind match expects a list of pairs",
		`"m":[["a","t"],["a","u"]]`:     "question m",
		`"m":[["a"]]`:                   "question m",
		`"n":22.5`:                      "question n: kind number expects the figure as typed",
		`"n":{"value":"1","unit":1}`:    "question n",
		`"n":{"unit":"mm"}`:             "question n",
		`"n":{"value":"1","other":"x"}`: "question n",
		`"p":"9"`:                       "question p",
	} {
		if a, err := quiz.ReadAnswers(file(answers), f); a != nil || err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", answers, err, want)
		}
	}
	if _, err := quiz.ReadAnswers([]byte(`{"format":"other","answers":{}}`), f); err == nil {
		t.Error("another format is read")
	}
	if _, err := quiz.ReadAnswers([]byte(`{"format":"brakewright-answers/1"}`), f); err == nil {
		t.Error("a file without answers is read")
	}
}

// A form that is read can be marked and is written again to the same form.
func FuzzReadForm(f *testing.F) {
	f.Add([]byte(handForm), []byte(`{"format":"brakewright-answers/1","answers":{"s":"a","n":"22.5 mm"}}`))
	f.Add([]byte(`{"format":"brakewright-form/1","questions":[]}`), []byte(`{}`))
	if b, err := os.ReadFile("testdata/form-format-en.json"); err == nil {
		f.Add(b, []byte(`{"format":"brakewright-answers/1","answers":{}}`))
	}
	f.Fuzz(func(t *testing.T, form, answers []byte) {
		got, err := quiz.ReadForm(form)
		if err != nil {
			if got != nil {
				t.Fatal("an error and a form")
			}
			return
		}
		again, err := quiz.ReadForm(got.JSON())
		if err != nil {
			t.Fatalf("written form is refused: %v", err)
		}
		if !bytes.Equal(again.JSON(), got.JSON()) {
			t.Fatal("written and read again, the form differs")
		}
		a, err := quiz.ReadAnswers(answers, got)
		if err != nil {
			a = nil
		}
		for _, locale := range []string{"", "en", "es"} {
			m := quiz.Mark(got, a, locale)
			if m.Points > m.Max || len(m.Questions) != len(got.Questions) {
				t.Fatalf("%s", m.JSON())
			}
		}
	})
}

// Typed figures never panic; what is asked back is never counted; the locale settles what would be asked back and changes
// nothing else; and a space, a sign or a digit of another typography makes no other figure.
func FuzzTypedFigure(f *testing.F) {
	for _, s := range []string{"22.5 mm", "0,886 in", "1.234", "−3", "1 200 N", "1'2", "°", "9e9", "1,2,3", "½", "22.500", "-22,5\u2009mm", "２２．５", "45.0 mm", "4,5 cm", "1.234.567,8"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, typed string) {
		form, q := numberForm("22.5", "mm", "0.05", quiz.NamedSlip{Element: "arithmetic/1/slip-1", Value: "45.0"})
		of := func(text, locale string) quiz.QuestionMark {
			m := markOne(form, q, quiz.Answer{Text: text}, locale)
			if m.AskBack && (m.Correct || m.Points != 0 || m.Diagnosis != nil) || m.Correct && m.Diagnosis != nil || m.Correct != (m.Points == 1) {
				t.Fatalf("%q: %+v", text, m)
			}
			return m
		}
		open := of(typed, "")
		for _, locale := range []string{"en", "es", "de-CH", "xx"} {
			if m := of(typed, locale); !open.AskBack && (m.Correct != open.Correct || m.AskBack) {
				t.Fatalf("%q: %+v in %q, %+v without", typed, m, locale, open)
			}
		}
		other := strings.NewReplacer("-", "\u2212", " ", "\u202f", "'", "’", "0", "０", "5", "５").Replace(typed)
		if m := of(other, ""); len(other) <= 64 && (m.Correct != open.Correct || m.AskBack != open.AskBack) {
			t.Fatalf("%q: %+v, %q: %+v", typed, open, other, m)
		}
	})
}
