package curriculum

import (
	"encoding/json"
	"os"
	"strings"
	"testing"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/renderer"
	"github.com/yuin/goldmark/util"
)

// specExamples reads the examples of the CommonMark and GFM specifications.
func specExamples(t *testing.T) (all []string) {
	t.Helper()
	for _, file := range []string{"commonmark", "gfm"} {
		b, err := os.ReadFile("testdata/spec/" + file + ".json")
		if err != nil {
			t.Fatal(err)
		}
		var spec struct{ Examples []string }
		if err := json.Unmarshal(b, &spec); err != nil {
			t.Fatal(err)
		}
		all = append(all, spec.Examples...)
	}
	if len(all) < 700 {
		t.Fatalf("only %d examples", len(all))
	}
	return all
}

// withoutPictures renders images as a page of ours does where the programme has no such drawing.
type withoutPictures struct{}

func (withoutPictures) RegisterFuncs(reg renderer.NodeRendererFuncRegisterer) {
	reg.Register(ast.KindImage, func(w util.BufWriter, source []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
		if !entering {
			return ast.WalkContinue, nil
		}
		b := textBuilder{d: &document{src: newSource("", source), body: source}}
		b.children(n)
		_, _ = w.WriteString(`<span class="picture missing">` + esc(b.done(0).Plain()) + "</span>")
		return ast.WalkSkipChildren, nil
	})
}

// TestSpecExamples: every example of the CommonMark and GFM specifications that a lesson may hold comes out as goldmark with the same
// extensions and raw HTML off gives it, but for pictures, which come from the programme only. What a lesson may not hold is an error.
func TestSpecExamples(t *testing.T) {
	plain := goldmark.New(goldmark.WithExtensions(plainExtensions...), goldmark.WithParserOptions(plainOptions...),
		goldmark.WithRendererOptions(renderer.WithNodeRenderers(util.Prioritized(withoutPictures{}, 1))))
	refused := 0
	for i, example := range specExamples(t) {
		p, problems := Load(lessonFolder(example))
		if p == nil {
			for _, x := range problems {
				switch {
				case x.Severity != Error:
				case strings.HasPrefix(x.Code, "picture_"), x.Code == "link_refused", x.Code == "nested_too_deep", x.Code == "nul_byte":
				default:
					t.Errorf("example %d %q is refused: %s", i, example, show(x))
				}
			}
			refused++
			// The page shows such a lesson in a preview all the same.
			d := parseMarkdown(newSource("lessons/x.md", []byte(example)), []byte(example))
			d.findSections(&report{src: d.src})
			if !strings.Contains(shows(problems), "link_refused") {
				comparePage(t, i, plain, example, string(render(d, "en", nil, "si", nil)))
			}
			continue
		}
		comparePage(t, i, plain, example, string(p.Lesson("l", "en").HTML(nil, "si", nil)))
	}
	if refused > 25 { // what holds a picture from outside, or a link with a scheme of its own
		t.Errorf("%d examples are refused", refused)
	}
}

func comparePage(t *testing.T, i int, plain goldmark.Markdown, example, got string) {
	t.Helper()
	var want strings.Builder
	if err := plain.Convert([]byte(example), &want); err != nil {
		t.Fatal(err)
	}
	if got != want.String() {
		t.Errorf("example %d %q\n got %q\nwant %q", i, example, got, want.String())
	}
}
