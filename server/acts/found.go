package acts

import (
	"context"
	"fmt"
	"io/fs"
	"strings"
	"time"

	"brakewright/curriculum"
	"brakewright/quiz"
	"brakewright/readiness"
	"brakewright/store"
)

// BrokenProgramme says that a folder cannot be used. Its problems are what `lint` reports, in the same order.
type BrokenProgramme struct{ Problems []curriculum.Problem }

func (b *BrokenProgramme) Error() string {
	return fmt.Sprintf("the programme folder has %d problems", len(b.Problems))
}

// LoadProgramme loads and lints a folder. The programme is nil if any problem is an error; warnings come with it.
func LoadProgramme(fsys fs.FS) (*curriculum.Programme, []curriculum.Problem) {
	var families []string
	for _, f := range quiz.Families() {
		families = append(families, f.ID)
	}
	problems := curriculum.Lint(fsys, families...)
	if curriculum.HasErrors(problems) {
		return nil, problems
	}
	p, found := curriculum.Load(fsys)
	if p == nil {
		return nil, found
	}
	return p, problems
}

// Found founds a programme: it checks the folder, the names and the first coordinator's secrets, then makes the
// database. f.Programme and f.Parameters need not be set. Errors: *BrokenProgramme, *Refusal with its Field, and those of
// store.Create.
func Found(ctx context.Context, o store.Options, f store.Founding, fsys fs.FS) (*store.Store, error) {
	p, problems := LoadProgramme(fsys)
	if p == nil {
		return nil, &BrokenProgramme{problems}
	}
	f.Name, f.Login = strings.Join(strings.Fields(f.Name), " "), strings.TrimSpace(f.Login)
	if f.Title = strings.TrimSpace(f.Title); f.Title == "" {
		f.Title = p.Title
	}
	if code := badName(f.Name); code != "" {
		return nil, wrong("name", code)
	}
	if badLogin(f.Login) {
		return nil, wrong("login", "bad_login", "login", f.Login)
	}
	if f.Origin == "" || len(f.Origin) > 200 || strings.ContainsAny(f.Origin, "+ \t\r\n") {
		return nil, wrong("origin", "bad_origin", "origin", f.Origin)
	}
	if _, err := time.LoadLocation(f.Zone); err != nil || f.Zone == "" || f.Zone == "Local" {
		return nil, wrong("zone", "unknown_zone", "zone", f.Zone)
	}
	if err := CheckPassword(f.Password, f.Login, f.Name, f.Title); err != nil {
		return nil, err
	}
	if err := CheckPassphrase(f.Passphrase, f.Login, f.Name, f.Title); err != nil {
		return nil, err
	}
	if f.Password == f.Passphrase {
		return nil, wrong("passphrase", "passphrase_is_password")
	}
	f.Programme = StoredProgramme(p)
	if f.Parameters == nil {
		f.Parameters = readiness.DefaultParameters().JSON()
	}
	return store.Create(ctx, o, f)
}
