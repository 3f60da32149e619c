package curriculum

import (
	"path"
	"strings"

	"github.com/yuin/goldmark/ast"
)

// anchors are the places of a document that a link can lead to.
func (d *document) anchors() map[string]bool {
	if d.places == nil {
		d.places = map[string]bool{}
		for _, m := range d.marks {
			d.places[m.anchor] = true
		}
		for n := d.root.FirstChild(); n != nil; n = n.NextSibling() {
			if v, ok := n.AttributeString("id"); ok {
				if b, ok := v.([]byte); ok {
					d.places[string(b)] = true
				}
			}
		}
	}
	return d.places
}

// pageOf says which document a path of the programme is, and where its page is served.
func (f *folder) pageOf(file string) (d *document, page string) {
	for _, lr := range f.allLessons() {
		if lr.l.File == file {
			return lr.d, "/lessons/" + lr.l.ID
		}
	}
	for _, vr := range f.vehicles {
		if vr.v.File == file {
			return vr.d, "/vehicles/" + vr.v.ID
		}
	}
	for _, vs := range f.sheets {
		for _, vr := range vs {
			if vr.v.File == file {
				return vr.d, "/vehicles/" + vr.v.ID
			}
		}
	}
	return nil, ""
}

// checkPlace checks a link into the programme: to a lesson, a sheet, a drawing, or a place in one of them. Where it is served
// elsewhere than the file lies, the link is led there.
func (f *folder) checkPlace(r *report, d *document, l *ast.Link) {
	dest := strings.TrimSpace(destination(l))
	target, fragment, _ := strings.Cut(dest, "#")
	if scheme, _, has := strings.Cut(target, ":"); has && !strings.Contains(scheme, "/") || strings.HasPrefix(target, "/") || strings.ContainsAny(target, "?%") {
		return // an address, or one of the pages; what is escaped in it is no file name of ours
	}
	to := d
	if target != "" {
		file := path.Join(path.Dir(d.src.file), target)
		page := ""
		to, page = f.pageOf(file)
		if to == nil {
			if _, drawn := f.out.Pictures[file]; !drawn {
				f.deadLink(r, d, l, dest, file)
			}
			return
		}
		if fragment != "" {
			page += "#" + fragment
		}
		d.marks[l] = &mark{href: page}
	}
	if fragment != "" && !to.anchors()[fragment] && !strings.HasPrefix(fragment, "fn:") {
		r.warnAt(d.linkStart(l), "link_to_nowhere", "link", dest, "nearest", orNone(nearest(fragment, sortedKeys(to.anchors()))))
	}
}

func (f *folder) deadLink(r *report, d *document, l *ast.Link, dest, file string) {
	var files []string
	for _, x := range f.out.Files {
		if x.Path != programmeFile {
			files = append(files, x.Path)
		}
	}
	near := nearest(file, files)
	if dir := path.Dir(d.src.file); near != "" && strings.HasPrefix(near, dir+"/") {
		near = strings.TrimPrefix(near, dir+"/")
	} else if near != "" {
		near = strings.Repeat("../", strings.Count(dir, "/")+1) + near
	}
	r.warnAt(d.linkStart(l), "link_to_nowhere", "link", dest, "nearest", orNone(near))
}
