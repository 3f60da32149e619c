package quiz_test

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math/big"
	"path"
	"regexp"
	"slices"
	"strings"
	"testing"

	"brakewright/quiz"
)

// element is any element of a document, as the test reads it.
type element struct {
	name  string
	attrs map[string]string
	text  string
	kids  []*element
}

func readXML(t *testing.T, b []byte) *element {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(b))
	var stack []*element
	var root *element
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("%v in\n%s", err, b)
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			e := &element{name: tok.Name.Local, attrs: map[string]string{"xmlns": tok.Name.Space}}
			for _, a := range tok.Attr {
				name := a.Name.Local
				if a.Name.Space == "http://www.w3.org/XML/1998/namespace" {
					name = "xml:" + name
				}
				e.attrs[name] = a.Value
			}
			if len(stack) > 0 {
				up := stack[len(stack)-1]
				up.kids = append(up.kids, e)
			} else {
				root = e
			}
			stack = append(stack, e)
		case xml.EndElement:
			stack = stack[:len(stack)-1]
		case xml.CharData:
			if len(stack) > 0 {
				stack[len(stack)-1].text += string(tok)
			}
		case xml.Directive:
			t.Fatalf("a document type in\n%s", b)
		}
	}
	return root
}

// all are the elements with a name, at any depth.
func (e *element) all(name string) (out []*element) {
	if e.name == name {
		out = append(out, e)
	}
	for _, k := range e.kids {
		out = append(out, k.all(name)...)
	}
	return out
}

func (e *element) one(t *testing.T, name string) *element {
	t.Helper()
	got := e.all(name)
	if len(got) != 1 {
		t.Fatalf("%d of %s in %s", len(got), name, e.name)
	}
	return got[0]
}

// qtiShape is what the published structure of QTI 3.0 says of the elements that a package of ours uses: attributes that
// must be there, further ones that may, and children, in their order where the standard fixes it; a child that ends in ?
// may be missing, in * may come in any number, in + must come at least once. "#" allows text.
type qtiShape struct{ must, may, kids string }

var qtiShapes = map[string]qtiShape{
	"qti-assessment-item":          {"identifier title time-dependent", "adaptive tool-name tool-version xml:lang", "qti-response-declaration* qti-outcome-declaration* qti-item-body? qti-response-processing?"},
	"qti-response-declaration":     {"identifier cardinality base-type", "", "qti-correct-response?"},
	"qti-correct-response":         {"", "", "qti-value+"},
	"qti-value":                    {"", "", "#"},
	"qti-outcome-declaration":      {"identifier cardinality", "base-type", "qti-default-value?"},
	"qti-default-value":            {"", "", "qti-value+"},
	"qti-item-body":                {"", "", "p* qti-choice-interaction? qti-order-interaction? qti-match-interaction? p*"},
	"p":                            {"", "", "# br* img? qti-text-entry-interaction?"},
	"br":                           {"", "", ""},
	"img":                          {"src alt", "", ""},
	"qti-choice-interaction":       {"response-identifier", "max-choices min-choices shuffle", "qti-prompt? qti-simple-choice+"},
	"qti-order-interaction":        {"response-identifier", "shuffle", "qti-prompt? qti-simple-choice+"},
	"qti-match-interaction":        {"response-identifier", "max-associations shuffle", "qti-prompt? qti-simple-match-set qti-simple-match-set"},
	"qti-simple-match-set":         {"", "", "qti-simple-associable-choice*"},
	"qti-simple-associable-choice": {"identifier match-max", "", "#"},
	"qti-simple-choice":            {"identifier", "", "#"},
	"qti-prompt":                   {"", "", "# br*"},
	"qti-text-entry-interaction":   {"response-identifier", "expected-length", ""},
	"qti-response-processing":      {"", "template", "qti-response-condition*"},
	"qti-response-condition":       {"", "", "qti-response-if qti-response-else?"},
	"qti-response-if":              {"", "", "qti-or? qti-equal? qti-match? qti-set-outcome-value+"},
	"qti-response-else":            {"", "", "qti-set-outcome-value+"},
	"qti-or":                       {"", "", "qti-match+"},
	"qti-match":                    {"", "", "qti-variable qti-ordered"},
	"qti-ordered":                  {"", "", "qti-base-value*"},
	"qti-equal":                    {"tolerance-mode", "tolerance", "qti-variable qti-correct"},
	"qti-variable":                 {"identifier", "", ""},
	"qti-correct":                  {"identifier", "", ""},
	"qti-base-value":               {"base-type", "", "#"},
	"qti-set-outcome-value":        {"identifier", "", "qti-base-value? qti-sum?"},
	"qti-sum":                      {"", "", "qti-test-variables+"},
	"qti-test-variables":           {"variable-identifier", "", ""},
	"qti-assessment-test":          {"identifier title", "tool-name tool-version xml:lang", "qti-outcome-declaration* qti-test-part+ qti-outcome-processing?"},
	"qti-test-part":                {"identifier navigation-mode submission-mode", "", "qti-assessment-section+"},
	"qti-assessment-section":       {"identifier title visible", "", "qti-assessment-item-ref*"},
	"qti-assessment-item-ref":      {"identifier href", "", ""},
	"qti-outcome-processing":       {"", "", "qti-set-outcome-value+"},
	"manifest":                     {"identifier", "", "metadata organizations resources"},
	"metadata":                     {"", "", "schema schemaversion"},
	"schema":                       {"", "", "#"},
	"schemaversion":                {"", "", "#"},
	"organizations":                {"", "", ""},
	"resources":                    {"", "", "resource*"},
	"resource":                     {"identifier type", "href", "file* dependency*"},
	"file":                         {"href", "", ""},
	"dependency":                   {"identifierref", "", ""},
}

var qtiIdentifier = regexp.MustCompile(`^[A-Za-z_][A-Za-z0-9_.-]*$`)

// shaped holds an element and all below it to qtiShapes.
func shaped(e *element) error {
	s, ok := qtiShapes[e.name]
	if !ok {
		return fmt.Errorf("there is no element %s", e.name)
	}
	for _, a := range strings.Fields(s.must) {
		if _, ok := e.attrs[a]; !ok {
			return fmt.Errorf("%s without %s", e.name, a)
		}
	}
	for a, v := range e.attrs {
		if a != "xmlns" && !slices.Contains(strings.Fields(s.must+" "+s.may), a) {
			return fmt.Errorf("%s has no %s", e.name, a)
		}
		if (a == "identifier" || a == "identifierref" || a == "response-identifier") && !qtiIdentifier.MatchString(v) {
			return fmt.Errorf("%q is no identifier", v)
		}
	}
	kids := e.kids
	for _, want := range strings.Fields(s.kids) {
		if want == "#" {
			continue
		}
		name := strings.TrimRight(want, "?*+")
		n := 0
		for len(kids) > 0 && kids[0].name == name && (n == 0 || strings.ContainsAny(want, "*+")) {
			kids, n = kids[1:], n+1
		}
		if n == 0 && !strings.ContainsAny(want, "?*") {
			return fmt.Errorf("%s without %s", e.name, name)
		}
	}
	if len(kids) > 0 {
		return fmt.Errorf("%s stands where it must not, in %s", kids[0].name, e.name)
	}
	if !strings.Contains(s.kids, "#") && strings.TrimSpace(e.text) != "" {
		return fmt.Errorf("text in %s", e.name)
	}
	for _, k := range e.kids {
		if err := shaped(k); err != nil {
			return err
		}
	}
	return nil
}

// score runs an item's response processing on a response.
func score(t *testing.T, item *element, response []string) bool {
	t.Helper()
	declared := item.one(t, "qti-response-declaration")
	var correct []string
	for _, v := range declared.one(t, "qti-correct-response").all("qti-value") {
		correct = append(correct, v.text)
	}
	processing := item.one(t, "qti-response-processing")
	if processing.attrs["template"] != "" {
		if declared.attrs["cardinality"] == "multiple" {
			a, b := slices.Clone(response), slices.Clone(correct)
			slices.Sort(a)
			slices.Sort(b)
			return slices.Equal(a, b)
		}
		return slices.Equal(response, correct)
	}
	condition := processing.one(t, "qti-response-if").kids[0]
	if condition.name == "qti-equal" {
		number := func(s string) *big.Rat {
			r, ok := new(big.Rat).SetString(s)
			if !ok {
				t.Fatalf("%q is no number", s)
			}
			return r
		}
		d := new(big.Rat).Sub(number(response[0]), number(correct[0]))
		return d.Abs(d).Cmp(number(condition.attrs["tolerance"])) <= 0
	}
	for _, m := range condition.all("qti-match") {
		var ids []string
		for _, v := range m.all("qti-base-value") {
			ids = append(ids, v.text)
		}
		if slices.Equal(ids, response) {
			return true
		}
	}
	return false
}

// A package has the published structure, names what it holds and holds what it names, and marks as Mark does.
func TestQTI(t *testing.T) {
	kinds := map[quiz.Kind]int{}
	for name, p := range programmes(t) {
		for seed := range soak(200) {
			cars := vehicleIDs(p)
			f := mustGenerate(t, p, quiz.Request{Questions: 30}, quiz.Draw{Seed: uint64(seed), Vehicle: cars[seed%len(cars)], Language: p.Languages[seed%len(p.Languages)]})
			b, err := quiz.QTI(f, p)
			if err != nil {
				t.Fatal(err)
			}
			if again, _ := quiz.QTI(f, p); !bytes.Equal(b, again) {
				t.Fatal("one form, two packages")
			}
			files := unzipped(t, b)
			checkPackage(t, files)
			for i := range f.Questions {
				q := &f.Questions[i]
				kinds[q.Kind]++
				item := readXML(t, files["items/q-"+q.ID+".xml"])
				if err := shaped(item); err != nil {
					t.Fatalf("%s: %v\n%s", name, err, files["items/q-"+q.ID+".xml"])
				}
				if item.attrs["xmlns"] != "http://www.imsglobal.org/xsd/imsqtiasi_v3p0" || item.attrs["xml:lang"] != f.Language {
					t.Fatalf("%v", item.attrs)
				}
				checkItem(t, f, q, item)
			}
		}
	}
	for _, k := range []quiz.Kind{quiz.Single, quiz.Order, quiz.Match, quiz.Number, quiz.Point} {
		if kinds[k] == 0 {
			t.Errorf("no question of kind %s came", k)
		}
	}
}

func unzipped(t *testing.T, b []byte) map[string][]byte {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	files := map[string][]byte{}
	for _, f := range z.File {
		if path.Clean(f.Name) != f.Name || strings.HasPrefix(f.Name, "/") || strings.HasPrefix(f.Name, "..") || files[f.Name] != nil {
			t.Fatalf("file %q", f.Name)
		}
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		if files[f.Name], err = io.ReadAll(r); err != nil {
			t.Fatal(err)
		}
	}
	return files
}

func checkPackage(t *testing.T, files map[string][]byte) {
	t.Helper()
	manifest, test := readXML(t, files["imsmanifest.xml"]), readXML(t, files["test.xml"])
	for _, e := range []*element{manifest, test} {
		if err := shaped(e); err != nil {
			t.Fatal(err)
		}
	}
	if manifest.attrs["xmlns"] != "http://www.imsglobal.org/xsd/qti/qtiv3p0/imscp_v1p1" {
		t.Fatal(manifest.attrs)
	}
	ids, named := map[string]bool{}, map[string]bool{"imsmanifest.xml": true}
	for _, r := range manifest.all("resource") {
		if ids[r.attrs["identifier"]] {
			t.Fatalf("resource %s stands twice", r.attrs["identifier"])
		}
		ids[r.attrs["identifier"]] = true
		if r.all("file")[0].attrs["href"] != r.attrs["href"] {
			t.Fatalf("resource %s does not list its own file", r.attrs["identifier"])
		}
		named[r.attrs["href"]] = true
	}
	for _, d := range manifest.all("dependency") {
		if !ids[d.attrs["identifierref"]] {
			t.Fatalf("nothing is called %s", d.attrs["identifierref"])
		}
	}
	for f := range files {
		if !named[f] {
			t.Fatalf("the manifest does not name %s", f)
		}
	}
	for f := range named {
		if files[f] == nil {
			t.Fatalf("there is no %s", f)
		}
	}
	for _, r := range test.all("qti-assessment-item-ref") {
		if readXML(t, files[r.attrs["href"]]).attrs["identifier"] != r.attrs["identifier"] {
			t.Fatalf("%s is another item", r.attrs["href"])
		}
	}
}

// checkItem holds an item to its question: every option is there with its words, and answers are marked alike.
func checkItem(t *testing.T, f *quiz.Form, q *quiz.Question, item *element) {
	t.Helper()
	text := map[string]string{}
	for _, c := range append(item.all("qti-simple-choice"), item.all("qti-simple-associable-choice")...) {
		text[c.attrs["identifier"]] = c.text
	}
	for _, o := range append(slices.Clone(q.Options), q.Targets...) {
		if text["o-"+o.ID] != o.Text {
			t.Fatalf("option %q is %q", o.Text, text["o-"+o.ID])
		}
	}
	if len(text) != len(q.Options)+len(q.Targets) {
		t.Fatalf("%d options of %d", len(text), len(q.Options)+len(q.Targets))
	}
	for _, img := range item.all("img") {
		if img.attrs["alt"] == "" || !strings.HasPrefix(img.attrs["src"], "../pictures/") {
			t.Fatalf("%v", img.attrs)
		}
	}
	if len(item.all("img")) != 0 != (q.Picture != nil) {
		t.Fatal("the drawing is missing")
	}
	same := func(a quiz.Answer, response ...string) {
		t.Helper()
		if want, got := markOne(f, *q, a, "en").Correct, score(t, item, response); got != want {
			t.Fatalf("%v: the item says %v, Mark %v\n%s", response, got, want, show(q))
		}
	}
	switch q.Kind {
	case quiz.Single, quiz.Point:
		for _, o := range q.Options {
			same(quiz.Answer{ID: o.ID}, "o-"+o.ID)
		}
	case quiz.Several:
		for set := 1; set < 1<<len(q.Options); set++ {
			var ids, response []string
			for i, o := range q.Options {
				if set&(1<<i) != 0 {
					ids, response = append(ids, o.ID), append(response, "o-"+o.ID)
				}
			}
			same(quiz.Answer{IDs: ids}, response...)
		}
	case quiz.Order:
		permutations(len(q.Options), func(order []int) {
			var ids, response []string
			for _, i := range order {
				ids, response = append(ids, q.Options[i].ID), append(response, "o-"+q.Options[i].ID)
			}
			same(quiz.Answer{IDs: ids}, response...)
		})
	case quiz.Match:
		permutations(len(q.Targets), func(order []int) {
			var pairs [][2]string
			var response []string
			for i, o := range q.Options {
				target := q.Targets[order[i]].ID
				pairs, response = append(pairs, [2]string{o.ID, target}), append(response, "o-"+o.ID+" o-"+target)
			}
			same(quiz.Answer{Pairs: pairs}, response...)
		})
	case quiz.Number:
		for _, v := range append([]string{q.Key.Number.Value, "1" + q.Key.Number.Value}, slipsOf(q)...) {
			same(quiz.Answer{Value: v, Unit: q.Key.Number.Unit}, v)
		}
	}
}

func slipsOf(q *quiz.Question) (out []string) {
	for _, s := range q.Slips {
		out = append(out, s.Value)
	}
	return out
}

// A form of another programme, or one whose drawing is gone, makes no package.
func TestQTIRefuses(t *testing.T) {
	p := mustBuild(t, tricky)
	f := mustGenerate(t, p, quiz.Request{Families: []string{"point"}}, quiz.Draw{})
	other := *p
	other.Edition = strings.Repeat("0", 64)
	if _, err := quiz.QTI(f, &other); err == nil || !strings.Contains(err.Error(), "edition") {
		t.Error(err)
	}
	bare := *p
	bare.Pictures = nil
	if _, err := quiz.QTI(f, &bare); err == nil || !strings.Contains(err.Error(), "drawing") {
		t.Error(err)
	}
}
