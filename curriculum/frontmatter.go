package curriculum

import (
	"bytes"
	"slices"

	"go.yaml.in/yaml/v4"
)

// splitFrontMatter returns the YAML between the first two `---` lines and the body: the file with everything up to the
// second `---` blanked, so that offsets stay those of the file. ok is false where there is no front matter.
func splitFrontMatter(b []byte) (front, body []byte, ok bool) {
	rest, found := bytes.CutPrefix(b, []byte("---\n"))
	if !found {
		return nil, b, false
	}
	for off := 0; off < len(rest); {
		stop := bytes.IndexByte(rest[off:], '\n')
		if stop < 0 {
			stop = len(rest) - off
		}
		if line := bytes.TrimRight(rest[off:off+stop], " \t"); string(line) == "---" || string(line) == "..." {
			front = rest[:off]
			head := 4 + min(off+stop+1, len(rest))
			body = slices.Clone(b)
			for i := range head {
				if body[i] != '\n' {
					body[i] = ' '
				}
			}
			return front, body, true
		}
		off += stop + 1
	}
	return nil, b, false
}

// frontMatter opens the YAML of a Markdown file; nil after reporting why not.
func frontMatter(r *report) (n *yaml.Node, y *yamlReader, body []byte) {
	front, body, ok := splitFrontMatter(r.src.bytes)
	if !ok {
		r.errorAt(0, "no_front_matter")
		return nil, nil, body
	}
	y = &yamlReader{report: r, place: func(line, column int) (int, int) { return line + 1, column }}
	return y.parse(front), y, body
}

// lessonFront is the front matter of a lesson with the places of what other files must agree with.
type lessonFront struct {
	id, title, language  item
	tasks, prerequisites []item
	minutes              int
}

func readLessonFront(n *yaml.Node, y *yamlReader) (f lessonFront) {
	y.mapping(n, []yamlField{
		{"id", true, y.id("id", &f.id)},
		{"title", true, y.placed("title", &f.title)},
		{"language", true, y.placed("language", &f.language)},
		{"tasks", true, y.list("tasks", &f.tasks)},
		{"prerequisites", false, y.list("prerequisites", &f.prerequisites)},
		{"minutes", false, y.whole("minutes", 1, 6000, &f.minutes)},
	})
	return f
}

// placed reads a text with its place.
func (y *yamlReader) placed(key string, to *item) func(*yaml.Node) {
	return func(n *yaml.Node) {
		y.text(key, &to.text)(n)
		to.line, to.column = y.at(n)
	}
}

// id reads an id: letters, digits, - _ and points.
func (y *yamlReader) id(key string, to *item) func(*yaml.Node) {
	return func(n *yaml.Node) {
		y.placed(key, to)(n)
		if to.text != "" && !isKey(to.text, false) {
			y.errorNode(n, "bad_id", "id", to.text, "like", likeID(to.text))
		}
	}
}
