package curriculum

import (
	"bytes"
	"slices"
	"strings"

	"github.com/yuin/goldmark/ast"
	"go.yaml.in/yaml/v4"

	"brakewright/readiness"
)

// check compares the files of a folder with one another.
func (f *folder) check() {
	if f.programme != nil {
		f.checkTasks()
		f.checkPolicy()
		f.checkBlueprints()
	}
	f.checkLessonFronts()
	f.checkVehicles()
	for _, lr := range f.allLessons() {
		f.checkLesson(lr)
	}
	for _, language := range sortedKeys(f.translated) {
		f.checkTranslations(language)
	}
}

// allLessons lists the lessons of all languages, the original first.
func (f *folder) allLessons() []*lessonReader {
	all := slices.Clone(f.lessons)
	for _, language := range sortedKeys(f.translated) {
		all = append(all, f.translated[language]...)
	}
	return all
}

func (r *report) errorItem(i item, code string, kv ...string) {
	r.errorLine(i.line, i.column, code, kv...)
}
func (r *report) warnItem(i item, code string, kv ...string) {
	r.warnLine(i.line, i.column, code, kv...)
}

// known reports an id that is not in the list.
func (r *report) known(i item, code string, list []string) bool {
	if contains(list, i.text) {
		return true
	}
	r.errorItem(i, code, "id", i.text, "nearest", nearestOf(i.text, list))
	return false
}

// knownLesson reports an id that no lesson has; not while there is a lesson whose id could not be read, for it may be that one.
func (f *folder) knownLesson(r *report, i item) bool {
	if f.unnamed && !contains(f.lessonIDs, i.text) {
		return false
	}
	return r.known(i, "unknown_lesson", f.lessonIDs)
}

// checkTasks checks tasks against one another and against the lessons.
func (f *folder) checkTasks() {
	p := f.programme
	seen := map[string]bool{}
	next := map[string][]item{}
	for _, t := range p.tasks {
		if t.ID != "" && seen[t.ID] {
			p.errorItem(t.at, "duplicate_id", "id", t.ID)
		}
		seen[t.ID] = true
		for _, pre := range t.prerequisitesAt {
			if p.known(pre, "unknown_task", f.taskIDs) {
				next[t.ID] = append(next[t.ID], pre)
			}
		}
		for _, l := range t.lessonsAt {
			if !f.knownLesson(p.report, l) {
				continue
			}
			if lesson := f.out.Lesson(l.text, ""); !contains(lesson.Tasks, t.ID) {
				p.errorItem(l, "task_disagrees", "task", t.ID, "lesson", l.text, "file", lesson.File)
			}
		}
	}
	prerequisiteCycles(f.taskIDs, next, func(i item, chain string) { p.errorItem(i, "prerequisite_cycle", "chain", chain) })
}

// prerequisiteCycles reports each cycle once, at the entry that closes it.
func prerequisiteCycles(ids []string, next map[string][]item, found func(at item, chain string)) {
	state := map[string]int{} // 1: on the path, 2: done
	var path []string
	var visit func(string)
	visit = func(id string) {
		state[id] = 1
		path = append(path, id)
		for _, n := range next[id] {
			switch state[n.text] {
			case 0:
				visit(n.text)
			case 1:
				from := slices.Index(path, n.text)
				found(n, strings.Join(append(slices.Clone(path[from:]), n.text), " → "))
			}
		}
		path = path[:len(path)-1]
		state[id] = 2
	}
	for _, id := range ids {
		if state[id] == 0 {
			visit(id)
		}
	}
}

// checkLessonFronts checks ids, languages, tasks and prerequisites of all lessons.
func (f *folder) checkLessonFronts() {
	original := ""
	if ls := f.languages(); len(ls) > 0 {
		original = ls[0]
	}
	check := func(ls []*lessonReader, language string) {
		first := map[string]string{}
		next := map[string][]item{}
		for _, lr := range ls {
			if id := lr.front.id; id.text != "" {
				if file, double := first[id.text]; double {
					lr.errorItem(id, "duplicate_lesson", "id", id.text, "file", file)
				} else {
					first[id.text] = lr.l.File
				}
			}
			if got := lr.front.language; got.text != "" && language != "" && got.text != language {
				lr.errorItem(got, "wrong_language", "language", got.text, "expected", language)
			}
			for _, t := range lr.front.tasks {
				if f.programme == nil || !lr.known(t, "unknown_task", f.taskIDs) {
					continue
				}
				if task := f.out.Task(t.text); !contains(task.Lessons, lr.l.ID) && (language == original || contains(f.lessonIDs, lr.l.ID)) {
					lr.errorItem(t, "task_disagrees", "task", t.text, "lesson", lr.l.ID, "file", programmeFile)
				}
			}
			for _, p := range lr.front.prerequisites {
				if f.knownLesson(lr.report, p) {
					next[lr.l.ID] = append(next[lr.l.ID], p)
				}
			}
		}
		if language != original {
			return
		}
		readers := map[string]*lessonReader{}
		for _, lr := range ls {
			readers[lr.l.ID] = lr
		}
		where := func(i item) *lessonReader { // the item is one of this lesson's prerequisites
			for _, lr := range ls {
				if slices.Contains(next[lr.l.ID], i) && readers[lr.l.ID] == lr {
					return lr
				}
			}
			return ls[0]
		}
		prerequisiteCycles(f.lessonIDs, next, func(i item, chain string) {
			where(i).errorItem(i, "prerequisite_cycle", "chain", chain)
		})
	}
	check(f.lessons, original)
	for _, language := range sortedKeys(f.translated) {
		check(f.translated[language], language)
	}
}

// below finds the value of a path of keys in a YAML mapping and its key's node; nil if it is not there.
func below(n *yaml.Node, path ...string) (key, value *yaml.Node) {
	value = n
	for _, p := range path {
		if value == nil || value.Kind != yaml.MappingNode {
			return nil, nil
		}
		found := false
		for i := 0; i+1 < len(value.Content); i += 2 {
			if value.Content[i].Value == p {
				key, value, found = value.Content[i], value.Content[i+1], true
				break
			}
		}
		if !found {
			return nil, nil
		}
	}
	return key, value
}

// policyItem is a value of the policy with its place; that of the policy's nearest node where it is not written.
func (p *programmeReader) policyItem(path ...string) item {
	for n := len(path); n >= 0; n-- {
		if k, v := below(p.policyNode, path[:n]...); v != nil {
			if n == len(path) && v.Kind == yaml.ScalarNode {
				return item{v.Value, v.Line, v.Column}
			}
			if k != nil {
				v = k
			}
			return item{"", v.Line, v.Column}
		}
	}
	return item{"", 1, 1}
}

// checkPolicy checks the policy's names.
func (f *folder) checkPolicy() {
	p := f.programme
	if p.policyNode == nil {
		return
	}
	if p.policy.Induction != "" {
		p.known(p.policyItem("induction"), "unknown_task", f.taskIDs)
	}
	_, tasks := below(p.policyNode, "tasks")
	if tasks == nil || tasks.Kind != yaml.MappingNode {
		return
	}
	for i := 0; i+1 < len(tasks.Content); i += 2 {
		k := tasks.Content[i]
		id := k.Value
		every := id == readiness.EveryTask
		if !every {
			p.known(item{id, k.Line, k.Column}, "unknown_task", f.taskIDs)
		}
		_, blueprint := below(tasks.Content[i+1], "theory_test", "blueprint")
		if blueprint == nil || blueprint.Kind != yaml.ScalarNode {
			continue
		}
		at := item{blueprint.Value, blueprint.Line, blueprint.Column}
		var ids []string
		for _, b := range f.out.Blueprints {
			ids = append(ids, b.ID)
		}
		if p.known(at, "unknown_blueprint", ids) {
			if b := f.out.Blueprint(at.text); b.Task != id && !every && contains(f.taskIDs, id) && contains(f.taskIDs, b.Task) {
				p.errorItem(at, "blueprint_of_other_task", "blueprint", b.ID, "task", id, "other", b.Task)
			}
		}
	}
}

// checkBlueprints checks the blueprints' names and numbers.
func (f *folder) checkBlueprints() {
	p := f.programme
	seen := map[string]bool{}
	for _, b := range p.blueprints {
		if b.ID != "" && seen[b.ID] {
			p.errorItem(b.at, "duplicate_id", "id", b.ID)
		}
		seen[b.ID] = true
		var task *Task
		if b.Task != "" && p.known(b.taskAt, "unknown_task", f.taskIDs) {
			task = f.out.Task(b.Task)
		}
		sum := 0
		for _, l := range b.lessonsAt {
			sum += b.Lessons[l.text]
			if f.knownLesson(p.report, l) && task != nil && !contains(task.Lessons, l.text) {
				p.warnItem(l, "blueprint_lesson_outside", "lesson", l.text, "task", b.Task)
			}
		}
		if sum > b.Questions && b.Questions > 0 {
			p.errorItem(b.questionsAt, "blueprint_too_many", "sum", itoa(sum), "questions", itoa(b.Questions), "of", "lessons")
		}
		sum = 0
		for _, n := range b.Families {
			sum += n
		}
		if sum > b.Questions && b.Questions > 0 {
			p.errorItem(b.questionsAt, "blueprint_too_many", "sum", itoa(sum), "questions", itoa(b.Questions), "of", "families")
		}
	}
}

// checkVehicles checks the sheets against one another.
func (f *folder) checkVehicles() {
	original := ""
	if ls := f.languages(); len(ls) > 0 {
		original = ls[0]
	}
	first := map[string]string{}
	figures := map[string]*vehicleReader{}
	for _, vr := range f.vehicles {
		if vr.id.text != "" {
			if file, double := first[vr.id.text]; double {
				vr.errorItem(vr.id, "duplicate_vehicle", "id", vr.id.text, "file", file)
			}
			first[vr.id.text] = vr.v.File
		}
		if vr.lang.text != "" && original != "" && vr.lang.text != original {
			vr.errorItem(vr.lang, "wrong_language", "language", vr.lang.text, "expected", original)
		}
		for _, fig := range vr.v.Figures {
			like, ok := figures[fig.Key]
			if !ok {
				figures[fig.Key] = vr
				continue
			}
			other, _ := like.v.Figure(fig.Key, "")
			if !sameDimension(fig.Unit, other.Unit) {
				vr.errorAt(vr.keyAt[fig.Key], "unit_mismatch", "name", fig.Key, "unit", orNone(string(fig.Unit)), "other", orNone(string(other.Unit)))
			} else if fig.Limit != other.Limit {
				vr.warnAt(vr.keyAt[fig.Key], "limit_differs", "key", fig.Key, "limit", orNone(string(fig.Limit)), "other", orNone(string(other.Limit)))
			}
		}
	}
	for _, vr := range f.vehicles {
		f.checkDocument(vr.report, vr.d)
	}
	for _, language := range sortedKeys(f.sheets) {
		for _, vr := range f.sheets[language] {
			f.checkDocument(vr.report, vr.d)
			if vr.lang.text != "" && vr.lang.text != language {
				vr.errorItem(vr.lang, "wrong_language", "language", vr.lang.text, "expected", language)
			}
			if v := f.out.Vehicle(vr.v.ID); vr.v.ID == "" || f.unread && v == nil {
				continue
			} else if v == nil {
				vr.errorItem(vr.id, "translation_of_nothing", "id", vr.v.ID)
			} else {
				compareSheets(vr, v)
			}
		}
	}
}

// compareSheets asks of a translated sheet the figures of the original.
func compareSheets(vr *vehicleReader, v *Vehicle) {
	for _, f := range v.Figures {
		got, ok := vr.v.Figure(f.Key, "")
		switch {
		case !ok && (vr.v.faulty[f.Key] || vr.keyless || vr.d == nil):
		case !ok:
			vr.errorItem(vr.id, "translation_lacks", "element", f.Element)
		case figureValues(got) != figureValues(f):
			vr.errorAt(vr.keyAt[f.Key], "translation_differs", "element", f.Element, "what", "figure")
		}
	}
	for _, f := range vr.v.Figures {
		if !v.says(f.Key, "") {
			vr.errorAt(vr.keyAt[f.Key], "translation_adds", "element", f.Element)
		}
	}
}

func figureValues(f Figure) string {
	return strings.Join([]string{f.Key, f.Value, f.High, string(f.Unit), string(f.Limit)}, "|")
}

// checkDocument checks images and vehicle links of one file.
func (f *folder) checkDocument(r *report, d *document) {
	if d == nil {
		return
	}
	d.checkImages(r, f.out.Pictures)
	for _, l := range d.links {
		if key, ok := vehicleKey(l); ok {
			f.checkLink(r, d, l, key)
		} else if !safeLink(destination(l)) {
			r.errorAt(d.linkStart(l), "link_refused", "link", string(l.Destination))
		} else {
			f.checkPlace(r, d, l)
		}
	}
	for _, n := range d.html {
		switch n := n.(type) {
		case *ast.RawHTML:
			at := n.Segments.At(0)
			warnHTML(r, at.Start, at.Value(d.body))
		case *ast.HTMLBlock:
			if n.Lines().Len() > 0 {
				at := n.Lines().At(0)
				warnHTML(r, at.Start, at.Value(d.body))
			}
		}
	}
}

// warnHTML says that HTML is not shown; a comment is meant not to be.
func warnHTML(r *report, at int, html []byte) {
	if !bytes.HasPrefix(bytes.TrimSpace(html), []byte("<!--")) {
		r.warnAt(at, "raw_html", "text", cut(strings.TrimSpace(string(html)), 40))
	}
}

// linkStart is where a link's opening bracket is.
func (d *document) linkStart(l ast.Node) int {
	off := d.start(l)
	if c := l.FirstChild(); c != nil {
		off = d.start(c)
	}
	line, _ := d.src.at(off)
	for i := off; i >= d.src.lines[line-1]; i-- {
		if i < len(d.body) && d.body[i] == '[' {
			return i
		}
	}
	return off
}

// checkLink checks that every car which the place concerns has the figure.
func (f *folder) checkLink(r *report, d *document, l *ast.Link, key string) {
	at := d.linkStart(l)
	if !isKey(key, true) {
		r.errorAt(at, "bad_key", "key", key)
		return
	}
	f.checkKey(r, at, key, d.stepAround(l))
}

// stepAround finds the step that a node stands in, or nil.
func (d *document) stepAround(n ast.Node) *Step {
	for ; n != nil; n = n.Parent() {
		if m := d.marks[n]; m != nil && m.each != nil {
			return m.each
		}
	}
	return nil
}

// sheetsHave says whether any sheet has the key, {axle} standing for either.
func (f *folder) sheetsHave(key string) bool {
	return f.hasKey[strings.ReplaceAll(key, "{axle}", "front")] || f.hasKey[strings.ReplaceAll(key, "{axle}", "rear")]
}

// maxEffort bounds what is spent on checks that multiply lessons by sheets or values by formulas, so that no folder can
// keep the program busy for hours. Ordinary programmes need a hundredth.
const maxEffort = 1_000_000_000

// spend counts effort and says whether there is any left. When it runs out, that is an error once: what is not checked
// may not be used.
func (f *folder) spend(n int) bool {
	if f.effort > maxEffort {
		return false
	}
	if f.effort += n; f.effort > maxEffort {
		f.problems = append(f.problems, Problem{File: programmeFile, Line: 1, Column: 1, Severity: Error, Code: "too_much_to_check", Args: args()})
		return false
	}
	return true
}

func (v *Vehicle) hasEither(key string) bool {
	for _, axle := range []string{"front", "rear"} {
		if v.says(key, axle) {
			return true
		}
	}
	return false
}

// says whether the sheet has the figure, if only in a row that must be mended.
func (v *Vehicle) says(key, axle string) bool {
	_, ok := v.Figure(key, axle)
	return ok || v.faulty[strings.ReplaceAll(key, "{axle}", axle)]
}

func (f *folder) checkKey(r *report, at int, key string, step *Step) {
	if !f.sheetsHave(key) {
		if f.unreadFigures {
			return // it may stand where nothing could be read
		}
		near := nearest(key, f.keys)
		r.errorAt(at, "unknown_vehicle_key", "key", key, "nearest", orNone(near))
		return
	}
	if step == nil {
		return // elsewhere a reader is sent to the maker's service information
	}
	for i, v := range f.out.Vehicles {
		if !f.spend(100 + 100*len(v.Wheels)) {
			return
		}
		if vr := f.vehicles[i]; vr.d == nil || vr.keyless {
			continue
		}
		var lacks []string
		switch {
		case step.Each != "":
			for _, w := range v.wheelNames() {
				if !v.Has(step.If, w) {
					continue
				}
				if own := strings.ReplaceAll(key, "{axle}", orNone(axleOf(v, w))); !v.says(key, axleOf(v, w)) && !contains(lacks, own) {
					lacks = append(lacks, own)
				}
			}
		case v.Has(step.If, "") && !v.hasEither(key):
			lacks = []string{key}
		}
		for _, key := range lacks {
			r.errorAt(at, "vehicle_lacks_key", "key", key, "vehicle", v.ID)
		}
	}
}

// checkLesson checks what a lesson says of cars, figures and pictures.
func (f *folder) checkLesson(lr *lessonReader) {
	f.checkDocument(lr.report, lr.d)
	lr.checkCallouts(f.out.Pictures)
	known := f.features
	for _, w := range lr.features {
		if isID(w.text) && !contains(known, w.text) && !f.unread {
			lr.errorAt(w.at, "unknown_feature", "feature", w.text, "nearest", nearestOf(w.text, known))
		}
	}
	for _, s := range lr.steps {
		f.checkStep(lr, s)
	}
	if lr.l.Procedure != nil {
		leaves := len(lr.l.Procedure.leaves)
		for _, v := range f.out.Vehicles {
			if n := leaves * max(1, len(v.Wheels)); len(lr.l.Procedure.rounds) > 0 && !f.spend(10*n*n+100) {
				break
			}
			if len(lr.l.Procedure.rounds) > 0 && instances(lr.l.Procedure, v).conflict {
				lr.errorAt(lr.steps[0].at, "order_contradiction", "vehicle", v.ID)
			}
		}
	}
	for _, src := range lr.sums {
		f.checkSumKeys(lr, src)
	}
}

// checkStep checks a step's wheels, orders and measures against the sheets.
func (f *folder) checkStep(lr *lessonReader, s *stepSource) {
	if s.ownEach && s.EachOrder != "" {
		if !contains(f.orders, s.EachOrder) {
			if !f.unread {
				lr.errorAt(s.eachAt, "unknown_order", "order", s.EachOrder, "nearest", nearestOf(s.EachOrder, f.orders))
			}
		} else {
			f.checkOrder(lr, s)
		}
	}
	if len(s.children) == 0 && len(s.If) > 0 && len(f.out.Vehicles) > 0 && !f.unread {
		f.checkApplies(lr, s)
	}
	for i, m := range s.Measures {
		at := s.measureAt[i]
		switch {
		case m.Key != "":
			if strings.Contains(m.Key, "{axle}") && s.Each == "" {
				lr.errorAt(at, "axle_without_wheel", "key", m.Key, "step", s.ID)
			}
		default:
			if !contains(lr.quantity, collapse(m.FigureName)) { // one in a row with a fault is not missing
				lr.errorAt(at, "measure_unknown", "name", m.FigureName, "nearest", nearestOf(m.FigureName, lr.quantity))
			}
		}
	}
}

// checkOrder asks every sheet for the order that a step goes round in, with every wheel the step is done at.
func (f *folder) checkOrder(lr *lessonReader, s *stepSource) {
	for _, v := range f.out.Vehicles {
		if !f.spend(100 * len(v.Wheels)) {
			return
		}
		order, has := v.Orders[s.EachOrder]
		for _, w := range v.wheelNames() {
			if !v.Has(s.If, w) || contains(order, w) {
				continue
			}
			if !has {
				lr.errorAt(s.eachAt, "order_missing", "order", s.EachOrder, "vehicle", v.ID, "step", s.ID)
				break
			}
			lr.errorAt(s.eachAt, "order_leaves_out", "order", s.EachOrder, "wheel", w)
		}
	}
}

// checkApplies warns of steps that no sheet's car asks for.
func (f *folder) checkApplies(lr *lessonReader, s *stepSource) {
	for _, v := range f.out.Vehicles {
		if !f.spend(100 + 100*len(v.Wheels)) {
			return
		}
		if s.Each == "" && v.Has(s.If, "") {
			return
		}
		if s.Each != "" && slices.ContainsFunc(v.wheelNames(), func(w string) bool { return v.Has(s.If, w) }) {
			return
		}
	}
	known := f.features
	if slices.ContainsFunc(s.If, func(x string) bool { return !contains(known, x) }) {
		return // said already
	}
	code := "step_for_no_car"
	if s.Each == "" && slices.ContainsFunc(f.out.Vehicles, func(v *Vehicle) bool { return v.Applies(s.If) }) {
		code = "feature_of_wheels"
	}
	lr.warnAt(s.at, code, "step", s.ID, "features", strings.Join(s.If, " "))
}

// checkSumKeys checks the vehicle figures that a sum is given.
func (f *folder) checkSumKeys(lr *lessonReader, src sumSource) {
	for _, g := range lr.l.Sums[src.index].Given {
		if g.VehicleKey == "" || !isKey(g.VehicleKey, true) {
			continue
		}
		at := src.givenAt[g.Name]
		if !f.sheetsHave(g.VehicleKey) {
			if f.unreadFigures {
				continue
			}
			lr.errorItem(at, "unknown_vehicle_key", "key", g.VehicleKey, "nearest", nearestOf(g.VehicleKey, f.keys))
			continue
		}
		if strings.Contains(g.VehicleKey, "{axle}") {
			lr.errorItem(at, "axle_without_wheel", "key", g.VehicleKey, "step", lr.l.Sums[src.index].Element)
			continue
		}
		for _, v := range f.out.Vehicles {
			if !f.spend(100) {
				return
			}
			fig, ok := v.Figure(g.VehicleKey, "")
			switch {
			case !ok:
			case !sameDimension(fig.Unit, g.Unit):
				lr.errorItem(at, "unit_mismatch", "name", g.Name, "unit", orNone(string(g.Unit)), "other", orNone(string(fig.Unit)))
			case fig.High != "":
				lr.errorItem(at, "given_is_range", "name", g.Name, "key", g.VehicleKey, "vehicle", v.ID)
			}
		}
	}
}

// checkRows looks for rows that read the same and would give two right answers.
func (lr *lessonReader) checkRows() {
	type seen map[string]int
	whole, first, telling := seen{}, seen{}, seen{}
	look := func(m seen, sev Severity, code string, line int, words ...string) bool {
		for i, w := range words {
			words[i] = plainType(strings.ToLower(w))
		}
		key := strings.Join(words, "\x00")
		if at, double := m[key]; double {
			lr.put(line, 1, sev, code, []string{"text", words[len(words)-1], "line", itoa(at)})
			return true
		}
		m[key] = line
		return false
	}
	for _, r := range lr.l.Cautions {
		if !look(whole, Error, "duplicate_row", r.Line, classCautions, r.Hazard.Plain(), r.Consequence.Plain(), r.Control.Plain()) {
			look(first, Warning, "same_first_cell", r.Line, classCautions, featureList(r.If), r.Hazard.Plain())
		}
	}
	for _, r := range lr.l.Tools {
		if !look(whole, Error, "duplicate_row", r.Line, classTools, r.Item.Plain(), r.Use.Plain(), r.WrongThing.Plain(), r.WrongHarm.Plain()) {
			look(first, Warning, "same_first_cell", r.Line, classTools, featureList(r.If), r.Item.Plain())
		}
	}
	for _, r := range lr.l.Faults {
		if !look(whole, Error, "duplicate_row", r.Line, classFaults, featureList(r.If), r.Symptom.Plain(), r.Cause.Plain()) {
			look(telling, Warning, "faults_share_check", r.Line, classFaults, r.Symptom.Plain(), r.Check.Plain())
		}
	}
	measured := map[string]bool{}
	for _, s := range lr.steps {
		for _, m := range s.Measures {
			measured[collapse(m.FigureName)] = true
		}
	}
	for _, r := range lr.l.Figures {
		sev := Warning
		if measured[collapse(r.Quantity.Plain())] {
			sev = Error
		}
		look(whole, sev, "duplicate_figure", r.Line, classFigures, r.Quantity.Plain())
		if r.Key != "" {
			look(whole, Error, "duplicate_figure", r.Line, classFigures, "key", r.Key)
		}
	}
	for _, r := range lr.l.Misbeliefs {
		look(whole, Error, "duplicate_row", r.Line, classMisbeliefs, r.Said.Plain())
	}
}
