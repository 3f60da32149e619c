package curriculum

import (
	"strings"
	"testing"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/extension"
	"github.com/yuin/goldmark/parser"
)

// plainMarkdown is goldmark with the same extensions and nothing of ours.
var plainMarkdown = goldmark.New(goldmark.WithExtensions(plainExtensions...), goldmark.WithParserOptions(plainOptions...))

var (
	plainExtensions = []goldmark.Extender{extension.Table, extension.Strikethrough, extension.Linkify, extension.DefinitionList, extension.Footnote}
	plainOptions    = []parser.Option{parser.WithHeadingAttribute()}
)

func pageOf(t *testing.T, body string, v string, units string) string {
	t.Helper()
	p := mustLoad(t, lessonFolder(body))
	return string(p.Lessons[0].HTML(p.Vehicle(v), units, pictureAt))
}

func TestPages(t *testing.T) {
	tests := []struct {
		name, body, car, units string
		want, not              []string
	}{
		{name: "raw HTML is left out", body: "<script>alert(1)</script>\n\ntext <b onclick=x>bold</b>\n", want: []string{"bold"}, not: []string{"<script", "<b", "onclick"}},
		{name: "a step's attributes are marks and anchors", body: "## Procedure\n1. Undo {#undo .critical .hold}\n   - **If skipped:** x\n", units: "si",
			want: []string{`<li id="procedure/undo">`, `<span class="mark critical">Critical</span> <span class="mark hold">Hold point</span> Undo`}, not: []string{"{", "}"}},
		{name: "attributes stand on the first line only", body: "## Procedure\n1. Undo the nut {#undo}\n   slowly\n", want: []string{"Undo the nut\nslowly"}},
		{name: "emphasis beside attributes", body: "## Procedure\n1. Undo *that* {#un_do_it after=\"\"}\n", want: []string{`id="procedure/un_do_it"`, "<em>that</em>"}},
		{name: "braces outside steps stay", body: "- a list {#x}\n", want: []string{"a list {#x}"}},
		{name: "a figure of the car", body: "To [torque](vehicle:nut.torque).\n", car: "v", units: "si", want: []string{`To torque (<span class="figure">110 N·m</span>).`}},
		{name: "in US units", body: "To [torque](vehicle:nut.torque).\n", car: "v", units: "us", want: []string{`<span class="figure">81.1 lbf·ft (110 N·m)</span>`}},
		{name: "without a car", body: "To [torque](vehicle:nut.torque).\n", units: "si", want: []string{`torque (<span class="figure missing">see the maker&#39;s service information</span>)`}},
		{name: "both axles", body: "Keep [it](vehicle:rotor.{axle}.minimum).\n", car: "v", units: "si", want: []string{"front: at least 20 mm; rear: at least 8.5 mm"}},
		{name: "the axle at hand", body: "## Procedure\n1. Keep [it](vehicle:rotor.{axle}.minimum) {#a each=\"wheel\" if=\"drum\"}\n", car: "v", units: "si",
			want: []string{`<span class="figure">at least 8.5 mm</span>`, "At each wheel: LR, RR"}},
		{name: "what the car lacks is hidden", body: "## Procedure\n1. One {#a if=\"abs\"}\n2. Two {#b each=\"wheel\" if=\"disc drum\"}\n3. Three {#c}\n", car: "v", want: []string{"One", "Three"}, not: []string{"Two"}},
		{name: "a part that the car lacks says so", body: "## Procedure\n### Drums\n\n1. Two {#b each=\"wheel\" if=\"disc drum\"}\n\n### Close\n\n1. Three {#c}\n", car: "v",
			want: []string{"<p>Nothing of this is done on this car.</p>", "Three"}, not: []string{"Two"}},
		{name: "a point shows the figure that it names", body: "## Procedure\n1. Hold {#a}\n   - **Measure:** Hard hold\n\n## Figures\n| Quantity | Value | Unit | Limit | Source |\n|-|-|-|-|-|\n| Hard hold | 10 | s | minimum | s |\n",
			units: "si", want: []string{`Hard hold (<span class="figure">at least 10 s</span>)</li>`}},
		{name: "without a car all is shown, with what it needs", body: "## Procedure\n1. One {#a if=\"abs\"}\n", want: []string{`<span class="mark only">Only with ABS</span>`}},
		{name: "rows", body: "## Cautions\n" + table(cautionHead, "| a {#first} | b | c |"), want: []string{`<table class="of-cautions" role="table">`, `<tr id="cautions/first" role="row">`, `<th role="rowheader" scope="row">a</th>`, `<td role="cell" data-head="Control">c</td>`}},
		{name: "what a row needs stands in its first cell", body: "## Cautions\n| Hazard | Consequence | Control | If |\n|-|-|-|-|\n| a | b | c | abs |\n| d | e | f | |\n",
			want: []string{`>a <span class="mark only">Only with ABS</span></th>`, `>d</th>`}, not: []string{">If<", "<td></td>"}},
		{name: "a sum hides its formulas", body: "## Arithmetic\n```sum\nask: How <much>?\ngiven: {a: {what: Force, unit: N, values: [12, 13]}}\nfind: a * 7\nrounding: 1\ntolerance: 0\n```\n",
			want: []string{`<aside class="sum" id="arithmetic/1">`, "How &lt;much&gt;?", `Force: <span class="value">12 N</span>`}, not: []string{"a * 7", "find"}},
		{name: "ordinary code stays", body: "```go\na < b\n```\n", want: []string{`<pre><code class="language-go">a &lt; b`}},
		{name: "sections have anchors, reading matter those of its author", body: "## For *the* curious\n\n## More {#more}\n\n## Faults {#fs}\n\n## Faults\n", want: []string{`<h2>For <em>the</em> curious</h2>`, `<h2 id="more">More</h2>`, `<h2 id="fs">`, `<h2 id="faults-2">`}},
		{name: "footnotes, definitions, tables", body: "a[^1]\n\n[^1]: b\n\nc\n: d\n\n|e|\n|:-:|\n|f|\n", want: []string{"footnote", "<dd>d</dd>", `<td style="text-align:center">f</td>`}},
		{name: "addresses", body: "www.example.org and <mail@example.org>\n", want: []string{`<a href="http://www.example.org">`, `<a href="mailto:mail@example.org">`}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := pageOf(t, tt.body, tt.car, tt.units)
			for _, w := range tt.want {
				if !strings.Contains(got, w) {
					t.Errorf("no %q in %s", w, got)
				}
			}
			for _, n := range tt.not {
				if strings.Contains(got, n) {
					t.Errorf("%q in %s", n, got)
				}
			}
		})
	}
}

func TestSafeLink(t *testing.T) {
	for _, s := range []string{"https://a.b/c:d", "http://a", "mailto:a@b", "tel:+1", "bleed.md", "#procedure/a", "a/b:c", "?q=a:b", "/lessons/x", "../x"} {
		if !safeLink(s) {
			t.Errorf("%q is refused", s)
		}
	}
	for _, s := range []string{"javascript:x", "JavaScript:x", " javascript:x", "java\nscript:x", "vbscript:x", "data:text/html,x", "file:///etc", "//evil.example", "\\\\evil", "blob:x", "intent:x"} {
		if safeLink(s) {
			t.Errorf("%q is let through", s)
		}
	}
}

// TestPlainPages: what has none of our structure comes out as goldmark alone gives it, but for the headings' anchors.
func TestPlainPages(t *testing.T) {
	body := "# Title\n\nText *with* **all** `kinds` of ~~marks~~ & \"signs\" \\* &copy; <https://example.org>.\n\n- a\n- b\n\n  loose\n\n3. c\n4. d\n\n> q\n\n---\n\n    code <b>\n\n```\nfence\n```\n\n" +
		"| a | b |\n|---|--:|\n| 1 | 2 |\n\nterm\n: definition\n\nline  \nbreak[^n]\n\n[^n]: Note.\n\n[link](https://example.org \"title\") ![](x)\n"
	d := parseMarkdown(newSource("lessons/x.md", []byte(body)), []byte(body))
	var want strings.Builder
	if err := plainMarkdown.Convert([]byte(body), &want); err != nil {
		t.Fatal(err)
	}
	got := string(render(d, "en", nil, "si", func(p string) string { return strings.TrimPrefix(p, "lessons/") }))
	if got != want.String() {
		t.Errorf("got\n%s\nwant\n%s", got, want.String())
	}
}

func TestPassages(t *testing.T) {
	l := exampleProgramme(t).Lesson("repack-hubs", "en")
	for element, want := range map[string]string{
		"procedure/pack":              "Wash the bearing and pack it with new grease.",
		"procedure/pack/why":          "Grease must reach every roller.",
		"procedure/pack/if-skipped":   "The bearing runs dry, seizes and takes the wheel off.",
		"procedure/play/if-skipped":   "Too tight, the bearing burns; too loose, the wheel wobbles and comes off.",
		"procedure/pack/check":        "Grease comes out between all rollers.",
		"procedure/rotor/measure":     "rotor thickness; the lowest of four readings. runout; the spread of one turn.",
		"cautions/jack":               "Trailer on a jack alone. A crushed chest. Rated stands under the axle.",
		"cautions/2/control":          "Gloves that solvent cannot pass.",
		"tools/1/wrong-harm":          "stretches the studs.",
		"faults/hot/cause":            "End play too small.",
		"figures/1":                   "End play: 0.03–0.25 mm.",
		"terms/1/definition":          "The part that turns on the axle and carries the wheel.",
		"terms/1/term":                "hub, wheel hub.",
		"misbeliefs/more/in-fact":     "A full hub has no room for warm grease and bursts its seal.",
		"pictures/hub/2":              "2: Outer bearing.",
		"arithmetic/nuts/find":        "How large is the force at the end of the wrench?",
		"arithmetic/3/slip-2":         "Took the way round for the area.",
		"procedure/nowhere":           "",
		"procedure":                   "",
		"nothing/1":                   "",
		"cautions/99":                 "",
		"procedure/pack/if-wrong":     "",
		"faults/hot/cause/and/deeper": "",
	} {
		if got := l.Passage(element); got != want {
			t.Errorf("%s: got %q, want %q", element, got, want)
		}
	}
}

func TestTexts(t *testing.T) {
	p := mustLoad(t, lessonFolder("## Cautions\n"+table(cautionHead, "| A *very* `hot` [rotor](https://example.org)\\|drum &amp; co | To [torque](vehicle:nut.torque) and [rest](vehicle:rotor.{axle}.minimum) | c[^1] |")+"\n[^1]: note\n"))
	c := p.Lessons[0].Cautions[0]
	if got, want := c.Hazard.Plain(), "A very hot rotor|drum & co"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if got, want := c.Consequence.For(p.Vehicle("v"), "rear"), "To torque (110 N·m) and rest (8.5 mm)"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if got, want := c.Consequence.For(p.Vehicle("v"), ""), "To torque (110 N·m) and rest"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if got, want := c.Consequence.Plain(), "To torque and rest"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if got, want := c.Control.Plain(), "c"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestMeasures(t *testing.T) {
	for point, want := range map[string]Measure{
		"[nut](vehicle:nut.torque)":                             {Key: "nut.torque", Which: "one"},
		"[nut](vehicle:nut.torque); the lowest of four":         {Key: "nut.torque", Which: "lowest", Readings: "the lowest of four"},
		"End play; highest":                                     {FigureName: "End play", Which: "highest", Readings: "highest"},
		"End play; the spread of eight readings":                {FigureName: "End play", Which: "spread", Readings: "the spread of eight readings"},
		"End play; each":                                        {FigureName: "End play", Which: "each", Readings: "each"},
		"End play":                                              {FigureName: "End play", Which: "one"},
		"End play; at four points, and the *lowest* counts":     {FigureName: "End play", Which: "lowest", Readings: "at four points, and the lowest counts"},
		"End play; cada una de las cuatro":                      {FigureName: "End play", Which: "each", Readings: "cada una de las cuatro"},
		"End play; la menor":                                    {FigureName: "End play", Which: "lowest", Readings: "la menor"},
		"End play; la diferencia entre la menor y otra lectura": {FigureName: "End play", Which: "lowest", Readings: "la diferencia entre la menor y otra lectura"},
	} {
		l := lessonFolder("## Procedure\n1. A {#a}\n   - **Measure:** " + point + "\n\n## Figures\n" + table(figureHead, "| End play | 0.1–0.2 | mm | range | s |"))
		m := mustLoad(t, l).Lessons[0].Procedure.Steps[0].Measures[0]
		if m.Key != want.Key || m.FigureName != want.FigureName || m.Which != want.Which || m.Readings != want.Readings {
			t.Errorf("%s: got %+v", point, m)
		}
	}
}

func TestLimits(t *testing.T) {
	p := exampleProgramme(t)
	l := p.Lesson("repack-hubs", "en")
	rotor, play := l.Procedure.Step("rotor"), l.Procedure.Step("play")
	if f, ok := l.Limit(rotor.Measures[0], p.Vehicle("tipper"), "front"); !ok || f.String() != "18.5 mm" {
		t.Errorf("got %v, %v", f, ok)
	}
	if f, ok := l.Limit(rotor.Measures[0], p.Vehicle("tipper"), "rear"); ok {
		t.Errorf("got %v", f)
	}
	if f, ok := l.Limit(rotor.Measures[0], nil, "front"); ok {
		t.Errorf("got %v", f)
	}
	if f, ok := l.Limit(play.Measures[0], nil, ""); !ok || f.String() != "0.03–0.25 mm" {
		t.Errorf("got %v, %v", f, ok)
	}
}

func TestCriticalPassesDown(t *testing.T) {
	l := procedureOf(t, "1. P {#p .critical .hold}\n   - **If skipped:** x\n\n   Do:\n\n   1. A {#a}\n   2. B {#b}\n2. Q {#q .critical}\n   1. C {#c .critical}\n      - **If skipped:** y\n   2. D {#d}\n3. E {#e}\n")
	for id, want := range map[string][2]bool{"p": {true, true}, "a": {true, false}, "b": {true, true}, "q": {true, false}, "c": {true, false}, "d": {}, "e": {}} {
		if s := l.Procedure.Step(id); s.Critical != want[0] || s.Hold != want[1] {
			t.Errorf("%s: critical %v, hold %v", id, s.Critical, s.Hold)
		}
	}
}

const printsBody = "## Procedure\n1. Undo the nuts, all four {#undo .critical}\n   - **If skipped:** The wheel comes off\n   - **Measure:** Depth\n2. Look {#look}\n3. Fit {#fit .hold}\n\n" +
	"## Figures\n| Quantity | Value | Unit | Limit | Source |\n|---|---|---|---|---|\n| Depth | 2.5 | mm | minimum | s |\n\n## Cautions\n| Hazard | Consequence | Control |\n|---|---|---|\n| a | b | c |\n"

func TestMateriallyChanged(t *testing.T) {
	old := mustLoad(t, lessonFolder(printsBody)).Lessons[0]
	for _, tt := range []struct {
		name, from, to string
		want           bool
	}{
		{"nothing", "", "", false},
		{"a comma", "nuts, all", "nuts all", false},
		{"quotation marks and dashes", "all four", "“all” – four", false},
		{"white space", "Undo the", "Undo  the", false},
		{"a plain step", "Look {", "Look well {", false},
		{"a caution", "| a |", "| aa |", false},
		{"a plain step added", "3. Fit", "3. Wipe {#wipe}\n4. Fit", false},
		{"a critical step's title", "all four", "all five", true},
		{"case", "Undo", "UNDO", true},
		{"its consequence", "comes off", "stays on", true},
		{"its mark", " .critical", "", true},
		{"a hold point's mark", " .hold", "", true},
		{"a hold point made", "#look}", "#look .hold}", true},
		{"the figure it rests on", "2.5", "2.6", true},
		{"the limit of that figure", "minimum", "maximum", true},
		{"a decimal point", "2.5", "25", true},
		{"its order", "#look}", "#look after=\"\"}", true},
		{"the order of a hold point", "#fit .hold}", "#fit .hold after=\"undo\"}", true},
		{"removed", "3. Fit {#fit .hold}\n", "", true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			body := printsBody
			if tt.from != "" {
				if body = strings.Replace(printsBody, tt.from, tt.to, 1); body == printsBody {
					t.Fatal("the test changes nothing")
				}
			}
			p, problems := Load(lessonFolder(body))
			if p == nil {
				t.Fatal(shows(problems))
			}
			if got := MateriallyChanged(old, p.Lessons[0]); got != tt.want {
				t.Errorf("got %v", got)
			}
			if got := MateriallyChanged(p.Lessons[0], old); got != tt.want {
				t.Errorf("the other way round: got %v", got)
			}
		})
	}
	if !MateriallyChanged(nil, old) || !MateriallyChanged(old, nil) || MateriallyChanged(nil, nil) {
		t.Error("a lesson that comes or goes")
	}
}

func TestFingerprints(t *testing.T) {
	a := mustLoad(t, lessonFolder(printsBody)).Lessons[0].Fingerprints()
	for _, element := range []string{"procedure/undo", "procedure/look", "procedure/fit", "figures/1", "cautions/1"} {
		if len(a[element]) != 64 {
			t.Errorf("%s: %q", element, a[element])
		}
	}
	if len(a) != 5 {
		t.Errorf("got %v", sortedKeys(a))
	}
	b := mustLoad(t, lessonFolder(strings.Replace(printsBody, "2.5", "2.6", 1))).Lessons[0].Fingerprints()
	if a["figures/1"] == b["figures/1"] || a["procedure/undo"] != b["procedure/undo"] {
		t.Error("only the figure should differ")
	}
}

func TestPlainType(t *testing.T) {
	for a, b := range map[string]string{
		"“It’s” – fine": "It's - fine", "a, b": "a b", "2–3 mm": "2-3 mm", "end.": "end", "lock-nut": "lock nut",
	} {
		if plainType(a) != plainType(b) && plainType(a) != strings.ReplaceAll(plainType(b), "'", "") {
			t.Errorf("%q → %q, %q → %q", a, plainType(a), b, plainType(b))
		}
	}
	for a, b := range map[string]string{"2.5": "25", "-5 °C": "5 °C", "a": "A", "10": "1 0", "1,5": "15", "N·m": "Nm"} {
		if plainType(a) == plainType(b) {
			t.Errorf("%q and %q are both %q", a, b, plainType(a))
		}
	}
}

// TestReadable makes words of ids, with the marks that the trade writes.
func TestReadable(t *testing.T) {
	for id, want := range map[string]string{
		"front_rear": "front/rear", "diagonal_by_wire": "diagonal by-wire", "rear-drums": "rear drums", "diagonal": "diagonal",
	} {
		if got := Readable(id); got != want {
			t.Errorf("%s reads %q, want %q", id, got, want)
		}
	}
}
