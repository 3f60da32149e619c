package curriculum

import (
	"io/fs"
	"path"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
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
	taskIDs, lessonIDs     []string // in their order
	unnamed                bool     // there is a lesson without a readable id
	hasKey                 map[string]bool
	unread                 bool // there is a sheet whose front matter could not be read
	unreadFigures          bool // there is a sheet whose figures could not

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
		if !slices.ContainsFunc(problems, func(p Problem) bool { return p.File == programmeFile && p.Severity == Error }) {
			f.problems = append(f.problems, Problem{File: programmeFile, Line: 1, Column: 1, Severity: Error, Code: "no_programme", Args: args()})
		}
	} else {
		f.programme = readProgramme(files[at], f.report(files[at]))
	}
	languages := f.languages()
	var jobs []*fileRead
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
		jobs = append(jobs, &fileRead{file: file, top: top, language: language})
	}
	for i, j := range jobs {
		if strings.HasSuffix(j.file.Path, ".md") && !f.spend(markEffort(j.file.Bytes)) {
			jobs = jobs[:i]
			break
		}
	}
	readFiles(jobs)
	for _, j := range jobs {
		f.keep(j)
	}
	for _, p := range f.problems { // a lesson that could not be read at all
		f.unnamed = f.unnamed || p.Severity == Error && strings.HasPrefix(p.File, "lessons/")
		f.unread = f.unread || p.Severity == Error && strings.HasPrefix(p.File, "vehicles/")
		f.unreadFigures = f.unread
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

// fileRead is one file with what reading it gave.
type fileRead struct {
	file          File
	top, language string

	report  *report
	picture *Picture
	lesson  *lessonReader
	vehicle *vehicleReader
	failure any // what a panic left; see readFiles
}

// readFiles reads files side by side: none needs another, and each has a report of its own. The outcome does not depend on
// how many there are at a time.
func readFiles(jobs []*fileRead) {
	var next atomic.Int64
	var done sync.WaitGroup
	for range min(len(jobs), runtime.GOMAXPROCS(0)) {
		done.Go(func() {
			for i := next.Add(1) - 1; i < int64(len(jobs)); i = next.Add(1) - 1 {
				jobs[i].read()
			}
		})
	}
	done.Wait()
	for _, j := range jobs {
		if j.failure != nil {
			panic(j.failure) // where the caller can catch it
		}
	}
}

// read reads one file by its folder and ending.
func (j *fileRead) read() {
	defer func() { j.failure = recover() }()
	r := &report{src: newSource(j.file.Path, j.file.Bytes)}
	j.report = r
	switch {
	case strings.HasSuffix(j.file.Path, ".svg"):
		j.picture = readPicture(j.file, r)
	case j.top == "lessons":
		j.lesson = readLesson(j.file, r)
	case j.top == "vehicles":
		j.vehicle = readVehicle(j.file, r)
	default:
		r.warnAt(0, "file_unused")
	}
}

// keep takes what a file gave into the folder.
func (f *folder) keep(j *fileRead) {
	f.reports = append(f.reports, j.report)
	switch {
	case j.picture != nil:
		f.out.Pictures[j.picture.Path] = j.picture
	case strings.HasSuffix(j.file.Path, ".svg"):
		// The file is there; what is wrong with it is said once.
		f.out.Pictures[j.file.Path] = &Picture{Path: j.file.Path, Edition: j.file.Edition, Bytes: nil}
	case j.lesson == nil && j.top == "lessons":
		f.unnamed = true
	case j.lesson != nil && j.language == "":
		f.lessons = append(f.lessons, j.lesson)
	case j.lesson != nil:
		f.translated[j.language] = append(f.translated[j.language], j.lesson)
	case j.vehicle == nil && j.top == "vehicles":
		f.unread, f.unreadFigures = true, true
	case j.vehicle != nil && j.language == "":
		f.vehicles = append(f.vehicles, j.vehicle)
	case j.vehicle != nil:
		f.sheets[j.language] = append(f.sheets[j.language], j.vehicle)
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
	for _, t := range f.out.Tasks {
		f.taskIDs = append(f.taskIDs, t.ID)
	}
	for _, l := range f.lessons {
		f.out.Lessons = append(f.out.Lessons, l.l)
		f.lessonIDs = append(f.lessonIDs, l.l.ID)
		f.unnamed = f.unnamed || l.l.ID == ""
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
		f.unread = f.unread || !v.fronted
		f.unreadFigures = f.unreadFigures || v.d == nil || v.keyless
	}
	f.keys, f.features, f.orders = f.out.keys(), f.out.features(), f.out.orderNames()
	f.hasKey = map[string]bool{}
	for _, k := range f.keys {
		f.hasKey[k] = true
	}
	for _, v := range f.vehicles {
		for k := range v.v.faulty {
			f.hasKey[k] = true
		}
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
