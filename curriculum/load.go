package curriculum

import (
	"io/fs"
	"path"
	"slices"
	"strings"
)

// folder is everything read from one folder, before and while its files are checked against one another.
type folder struct {
	programme  *programmeReader
	lessons    []*lessonReader            // original language, by file
	translated map[string][]*lessonReader // by language
	vehicles   []*vehicleReader
	sheets     map[string][]*vehicleReader // translated sheets by language
	out        *Programme
	problems   []Problem
	reports    []*report

	// What the sheets have between them, sorted.
	keys, features, orders []string
	hasKey                 map[string]bool

	effort int // what was spent on checks so far; see spend
}

func load(fsys fs.FS) (*Programme, []Problem) {
	f := read(fsys)
	problems := f.finish()
	if HasErrors(problems) {
		return nil, problems
	}
	return f.out, problems
}

// finish gathers the problems of all files, sorted.
func (f *folder) finish() []Problem {
	all := slices.Clone(f.problems)
	for _, r := range f.reports {
		all = append(all, r.problems...)
	}
	sortProblems(all)
	return all
}

// report opens the report of a file.
func (f *folder) report(file File) *report {
	r := &report{src: newSource(file.Path, file.Bytes)}
	f.reports = append(f.reports, r)
	return r
}

// read reads and checks a folder. out is complete only where there are no errors.
func read(fsys fs.FS) *folder {
	f := &folder{translated: map[string][]*lessonReader{}, sheets: map[string][]*vehicleReader{},
		out: &Programme{Translated: map[string][]*Lesson{}, Pictures: map[string]*Picture{}}}
	files, problems := readFolder(fsys)
	f.problems = problems
	at := slices.IndexFunc(files, func(x File) bool { return x.Path == programmeFile })
	if at < 0 {
		if len(problems) == 0 || !slices.ContainsFunc(problems, func(p Problem) bool { return p.File == programmeFile }) {
			f.problems = append(f.problems, Problem{File: programmeFile, Line: 1, Column: 1, Severity: Error, Code: "no_programme", Args: args()})
		}
	} else {
		f.programme = readProgramme(files[at], f.report(files[at]))
	}
	languages := f.languages()
	for _, file := range files {
		if file.Path == programmeFile {
			f.out.Files = append(f.out.Files, file)
			continue
		}
		top, rest, _ := strings.Cut(file.Path, "/")
		language := ""
		if dir := path.Dir(rest); dir != "." {
			language = dir
		}
		if f.programme != nil && language != "" && !slices.Contains(languages[min(1, len(languages)):], language) {
			f.problems = append(f.problems, Problem{File: file.Path, Line: 1, Column: 1, Severity: Warning, Code: "language_folder",
				Args: args("language", language, "languages", strings.Join(languages, ", "))})
			continue
		}
		f.out.Files = append(f.out.Files, file)
		f.file(file, top, language)
	}
	f.out.Edition = programmeEdition(f.out.Files)
	f.assemble()
	f.check()
	return f
}

func (f *folder) languages() []string {
	if f.programme == nil {
		return nil
	}
	return texts(f.programme.languages)
}

// file reads one file by its folder and ending.
func (f *folder) file(file File, top, language string) {
	r := f.report(file)
	switch {
	case strings.HasSuffix(file.Path, ".svg"):
		if p := readPicture(file, r); p != nil {
			f.out.Pictures[p.Path] = p
		} else {
			// The file is there; what is wrong with it is said once.
			f.out.Pictures[file.Path] = &Picture{Path: file.Path, Edition: file.Edition, Bytes: nil}
		}
	case top == "lessons":
		if l := readLesson(file, r); l != nil {
			if language == "" {
				f.lessons = append(f.lessons, l)
			} else {
				f.translated[language] = append(f.translated[language], l)
			}
		}
	case top == "vehicles":
		if v := readVehicle(file, r); v != nil {
			if language == "" {
				f.vehicles = append(f.vehicles, v)
			} else {
				f.sheets[language] = append(f.sheets[language], v)
			}
		}
	default:
		r.warnAt(0, "file_unused")
	}
}

// assemble fills the programme from what was read.
func (f *folder) assemble() {
	if p := f.programme; p != nil {
		f.out.Title, f.out.Units, f.out.Languages = p.title.text, p.units.text, texts(p.languages)
		f.out.Policy, f.out.PolicyYAML = p.policy, p.policyYAML
		for _, t := range p.tasks {
			f.out.Tasks = append(f.out.Tasks, t.Task)
		}
		for _, b := range p.blueprints {
			f.out.Blueprints = append(f.out.Blueprints, b.Blueprint)
		}
	}
	for _, l := range f.lessons {
		f.out.Lessons = append(f.out.Lessons, l.l)
	}
	for language, ls := range f.translated {
		for _, l := range ls {
			f.out.Translated[language] = append(f.out.Translated[language], l.l)
		}
	}
	for _, v := range f.vehicles {
		v.v.byKey = map[string]int{}
		for i, fig := range v.v.Figures {
			v.v.byKey[fig.Key] = i
		}
		f.out.Vehicles = append(f.out.Vehicles, v.v)
	}
	f.keys, f.features, f.orders = f.out.keys(), f.out.features(), f.out.orderNames()
	f.hasKey = map[string]bool{}
	for _, k := range f.keys {
		f.hasKey[k] = true
	}
	if len(f.sheets) > 0 {
		f.out.sheets = map[string][]*Vehicle{}
	}
	for language, vs := range f.sheets {
		for _, v := range vs {
			f.out.sheets[language] = append(f.out.sheets[language], v.v)
		}
	}
}
