// Package curriculum reads a programme folder (lessons, vehicle sheets, tasks, policy) into an immutable
// [Programme]: parsed, checked, rendered and hashed. It is pure: bytes and an fs.FS in, values out; no clock,
// no randomness, no network, no database.
//
// What is wrong with a folder comes back as [Problem] values: codes and arguments with file, line and column.
// The words for them live in server/say.
package curriculum

import (
	"io/fs"

	"brakewright/readiness"
)

// Programme is everything loaded from one folder. It is immutable after Load and may be shared by goroutines.
type Programme struct {
	Edition    string // SHA-256 (hex) of the lines "HEX  PATH\n" of all Files, sorted bytewise by path
	Title      string
	Languages  []string // the first is the original
	Units      string   // "si" or "us"
	Tasks      []Task
	Policy     readiness.Policy
	PolicyYAML []byte // the policy block as written, for `assess --policy`
	Blueprints []Blueprint
	Lessons    []*Lesson            // original language, sorted by file
	Translated map[string][]*Lesson // by language other than the original
	Vehicles   []*Vehicle           // sorted by file
	Pictures   map[string]*Picture  // by path
	Files      []File               // all files that count, sorted by path

	sheets map[string][]*Vehicle // vehicle sheets in other languages
}

// File is one file of a programme, CRLF already turned into LF.
type File struct {
	Path    string
	Edition string // SHA-256 (hex) of Bytes
	Bytes   []byte
}

// Task is a piece of work one can be cleared for.
type Task struct {
	ID            string
	Title         string
	Lessons       []string
	Prerequisites []string // tasks
}

// Blueprint says how a theory test of a task is made up.
type Blueprint struct {
	ID            string
	Task          string
	Questions     int
	Lessons       map[string]int // questions per lesson
	Families      map[string]int // questions per family; optional
	CriticalSteps string         // "all" or "none"
}

// Load reads a folder. Problems of severity error leave the programme nil; warnings do not. All problems of all
// files are reported at once, sorted by file, line, column. Load never panics on any input.
func Load(fsys fs.FS) (*Programme, []Problem) { return load(fsys) }

// Lesson returns the lesson in a language, falling back to the original language; nil if there is none.
func (p *Programme) Lesson(id, language string) *Lesson {
	for _, l := range p.Translated[language] {
		if l.ID == id {
			return l
		}
	}
	for _, l := range p.Lessons {
		if l.ID == id {
			return l
		}
	}
	return nil
}

// Vehicle returns the vehicle sheet with this id, or nil.
func (p *Programme) Vehicle(id string) *Vehicle {
	for _, v := range p.Vehicles {
		if v.ID == id {
			return v
		}
	}
	return nil
}

// VehicleIn returns the vehicle sheet to read in a language, falling back to the original one; nil if there is none.
// The figures of a translated sheet equal those of the original.
func (p *Programme) VehicleIn(id, language string) *Vehicle {
	for _, v := range p.sheets[language] {
		if v.ID == id {
			return v
		}
	}
	return p.Vehicle(id)
}

// Task returns the task with this id, or nil.
func (p *Programme) Task(id string) *Task {
	for i := range p.Tasks {
		if p.Tasks[i].ID == id {
			return &p.Tasks[i]
		}
	}
	return nil
}

// Blueprint returns the blueprint with this id, or nil.
func (p *Programme) Blueprint(id string) *Blueprint {
	for i := range p.Blueprints {
		if p.Blueprints[i].ID == id {
			return &p.Blueprints[i]
		}
	}
	return nil
}
