package curriculum

import (
	"path"
	"strings"

	"github.com/yuin/goldmark/ast"
	extast "github.com/yuin/goldmark/extension/ast"
)

// pictureRef is an image of a Markdown file with the path it means.
type pictureRef struct {
	node *ast.Image
	at   int
	path string // inside the programme; "" if it points outside
	dest string
	alt  string
}

// picturePath resolves a picture's path relative to its file; ok is false where it leaves the programme or is an address.
func picturePath(file, dest string) (string, bool) {
	if dest == "" || strings.ContainsAny(dest, ":\\?#") || strings.HasPrefix(dest, "/") {
		return "", false
	}
	p := path.Join(path.Dir(file), dest)
	if p == ".." || strings.HasPrefix(p, "../") {
		return "", false
	}
	return p, true
}

func (d *document) image(im *ast.Image) pictureRef {
	b := textBuilder{d: d}
	b.children(im)
	ref := pictureRef{node: im, at: d.imageStart(im), dest: string(im.Destination), alt: b.done(0).Plain()}
	if p, ok := picturePath(d.src.file, ref.dest); ok {
		ref.path = p
	}
	return ref
}

// imageStart is where an image begins; one without words has no text node, so its block's line is searched.
func (d *document) imageStart(im ast.Node) int {
	if p := im.Pos(); p >= 0 {
		return p
	}
	return d.start(im)
}

// pictures reads images, each followed by its table. `{#id}` behind the image names it.
func (lr *lessonReader) pictures(s *section) {
	found, open := false, -1
	for _, b := range s.blocks {
		if t, ok := b.(*extast.Table); ok {
			if open < 0 {
				lr.errorAt(lr.d.start(t.FirstChild()), "table_without_picture")
				continue
			}
			lr.pictureTable(open, t)
			open = -1
			continue
		}
		_ = ast.Walk(b, func(n ast.Node, entering bool) (ast.WalkStatus, error) {
			im, ok := n.(*ast.Image)
			if !ok || !entering {
				return ast.WalkContinue, nil
			}
			found = true
			if open >= 0 {
				lr.errorAt(lr.pictureAt[open], "picture_without_table", "path", lr.l.Pictures[open].Path)
			}
			ref := lr.d.image(im)
			row := lr.rowAt(classPictures, lr.d.takeID(lr.report, im.Parent()), b)
			lr.l.Pictures = append(lr.l.Pictures, LessonPicture{Row: row, Path: ref.path, Alt: ref.alt})
			lr.pictureAt = append(lr.pictureAt, ref.at)
			lr.d.marks[im] = &mark{anchor: row.Element}
			open = len(lr.l.Pictures) - 1
			return ast.WalkSkipChildren, nil
		})
	}
	if open >= 0 {
		lr.errorAt(lr.pictureAt[open], "picture_without_table", "path", lr.l.Pictures[open].Path)
	}
	if !found {
		lr.emptySection(s)
	}
}

// pictureTable reads the numbered parts of a picture. Parts go by their numbers, so an id of a row says nothing more.
func (lr *lessonReader) pictureTable(n int, t *extast.Table) {
	p := &lr.l.Pictures[n]
	rows, columns := lr.d.readTable(lr.report, classPictures, t, false)
	numbers, names := map[string]bool{}, map[string]bool{}
	for _, tr := range rows {
		number := tr.text(lr.d, "number").Plain()
		part := tr.text(lr.d, "part")
		if number == "" && contains(columns, "number") {
			lr.emptyCell(tr, classPictures, "number")
		}
		if part.Empty() && contains(columns, "part") {
			lr.emptyCell(tr, classPictures, "part")
		}
		if number == "" || part.Empty() {
			continue
		}
		if numbers[number] {
			lr.errorAt(lr.d.cellStart(tr.cell("number")), "duplicate_number", "number", number)
		}
		if name := plainKey(part.Plain()); names[name] {
			lr.warnAt(lr.d.cellStart(tr.cell("part")), "duplicate_part", "part", part.Plain())
		}
		numbers[number], names[plainKey(part.Plain())] = true, true
		p.Parts = append(p.Parts, PicturePart{Number: number, Part: part, Line: lr.d.lineOf(tr.node)})
		lr.d.marks[tr.node] = &mark{anchor: p.Element + "/" + number}
		lr.partAt = append(lr.partAt, partPlace{n, number, lr.d.cellStart(tr.cell("number"))})
	}
}

// partPlace is where a number of a picture's table stands.
type partPlace struct {
	picture int
	number  string
	at      int
}

// checkImages checks every image of a document against the programme's pictures.
func (d *document) checkImages(r *report, pictures map[string]*Picture) {
	for _, im := range d.images {
		ref := d.image(im)
		if ref.alt == "" {
			r.errorAt(ref.at, "picture_without_words", "path", ref.dest)
		}
		if ref.path == "" {
			r.errorAt(ref.at, "picture_outside", "path", ref.dest)
			continue
		}
		if ending := path.Ext(ref.path); ending != ".svg" && ending != "" {
			r.errorAt(ref.at, "picture_not_svg", "path", ref.path)
			continue
		}
		if _, ok := pictures[ref.path]; !ok {
			near := nearest(ref.path, sortedKeys(pictures))
			r.errorAt(ref.at, "picture_missing", "path", ref.path, "nearest", orNone(near))
		}
	}
}

// checkCallouts compares each picture's table with the callouts of its drawing.
func (lr *lessonReader) checkCallouts(pictures map[string]*Picture) {
	drawn := map[string]map[string]bool{} // path → its callouts
	for _, shown := range lr.l.Pictures {
		if p, ok := pictures[shown.Path]; ok && p.Bytes != nil { // what is wrong with a refused one is said there
			drawn[shown.Path] = map[string]bool{}
			for _, n := range p.Numbers {
				drawn[shown.Path][n] = true
			}
		}
	}
	for _, place := range lr.partAt {
		p := lr.l.Pictures[place.picture]
		if numbers, ok := drawn[p.Path]; ok && !numbers[place.number] {
			lr.errorAt(place.at, "number_not_in_drawing", "number", place.number, "path", p.Path)
		}
	}
	for i, p := range lr.l.Pictures {
		if drawn[p.Path] == nil {
			continue
		}
		listed := map[string]bool{}
		for _, part := range p.Parts {
			listed[part.Number] = true
		}
		for _, n := range sortedKeys(drawn[p.Path]) {
			if !listed[n] {
				lr.errorAt(lr.pictureAt[i], "number_not_in_table", "number", n, "path", p.Path)
			}
		}
	}
}

// readPicture checks one drawing.
func readPicture(f File, r *report) *Picture {
	if !checkCharacters(r) {
		return nil
	}
	numbers, faults := readSVG(r.src.bytes)
	for _, e := range faults {
		r.errorAt(r.src.offset(e.Line, e.Column), e.Code, "name", e.Name)
	}
	if len(faults) > 0 {
		return nil
	}
	seen := map[string]bool{}
	for _, n := range numbers {
		if seen[n] {
			r.warnAt(0, "callout_twice", "number", n)
		}
		seen[n] = true
	}
	return &Picture{Path: f.Path, Edition: f.Edition, Bytes: f.Bytes, Numbers: numbers}
}
