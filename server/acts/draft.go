package acts

import (
	"context"
	"errors"
	"maps"
	"path"
	"slices"
	"strings"

	"brakewright/curriculum"
	"brakewright/store"
)

// maxDraftText bounds a text written in the browser: what a lesson may have.
const maxDraftText = 1 << 20 // bytes

// Draft is a programme folder as somebody is writing it.
type Draft struct {
	store.ProgrammeDraft
	Stale bool // another edition was adopted since it was begun
}

// Drafts lists everybody's drafts, the latest first, without their files.
func (s *Service) Drafts(ctx context.Context, actor *store.Person) ([]store.ProgrammeDraft, error) {
	if err := s.May(ctx, actor, SeeOffer, Target{}); err != nil {
		return nil, err
	}
	return s.Store.ProgrammeDrafts(ctx)
}

// Draft returns a person's draft and compares it with the edition in use. A *Refusal not_found if there is none.
func (s *Service) Draft(ctx context.Context, actor *store.Person, person string) (*Draft, *Offer, error) {
	if err := s.May(ctx, actor, SeeOffer, Target{}); err != nil {
		return nil, nil, err
	}
	d, err := s.Store.ProgrammeDraft(ctx, person)
	if err != nil {
		return nil, nil, missing(err, "draft")
	}
	o, err := s.Compare(ctx, actor, memFS(d.Files))
	if err != nil {
		return nil, nil, err
	}
	info, err := s.Store.Info(ctx)
	if err != nil {
		return nil, nil, err
	}
	return &Draft{ProgrammeDraft: *d, Stale: d.Base != info.Programme}, o, nil
}

// DraftText is a file as the actor's draft has it, or else the edition in use; drafted says which.
func (s *Service) DraftText(ctx context.Context, actor *store.Person, file string) (text string, drafted bool, err error) {
	if err := s.May(ctx, actor, WriteProgramme, Target{}); err != nil {
		return "", false, err
	}
	d, err := s.Store.ProgrammeDraft(ctx, actor.ID)
	switch {
	case err == nil:
		if b, ok := d.Files[file]; ok {
			return string(b), true, nil
		}
		return "", false, missing(store.ErrNotFound, "file")
	case !errors.Is(err, store.ErrNotFound):
		return "", false, err
	}
	p, err := s.programme(ctx)
	if err != nil {
		return "", false, err
	}
	for _, f := range p.Files {
		if f.Path == file {
			return string(f.Bytes), false, nil
		}
	}
	return "", false, missing(store.ErrNotFound, "file")
}

// WriteDraft puts a text into the actor's draft, which begins as the edition in use. Only texts of the folder can be
// written: programme.yaml, lessons and vehicle sheets. It may be wrong in every way: it is a draft.
func (s *Service) WriteDraft(ctx context.Context, actor *store.Person, file, text string) error {
	if err := s.May(ctx, actor, WriteProgramme, Target{}); err != nil {
		return err
	}
	text = strings.ReplaceAll(text, "\r\n", "\n")
	switch {
	case !writable(file):
		return wrong("file", "file_not_writable", "name", cutName(file))
	case len(text) > maxDraftText:
		return wrong("text", "text_too_long")
	}
	info, err := s.Store.Info(ctx)
	if err != nil {
		return err
	}
	d, err := s.Store.ProgrammeDraft(ctx, actor.ID)
	if errors.Is(err, store.ErrNotFound) {
		p, err := s.programme(ctx)
		if err != nil {
			return err
		}
		d = &store.ProgrammeDraft{Person: actor.ID, Base: info.Programme, Files: maps.Clone(StoredProgramme(p).Files)}
	} else if err != nil {
		return err
	}
	d.Files[file], d.At = []byte(text), s.clock()
	return translate(s.Store.SaveProgrammeDraft(ctx, *d))
}

// DraftPicture is a drawing of somebody's draft, by its path and edition, for pages that show the draft. A *Refusal not_found if no draft
// has it, or if it is none that a page may show.
func (s *Service) DraftPicture(ctx context.Context, actor *store.Person, file, edition string) ([]byte, error) {
	all, err := s.Drafts(ctx, actor)
	if err != nil {
		return nil, err
	}
	for _, d := range all {
		d, err := s.Store.ProgrammeDraft(ctx, d.Person)
		if errors.Is(err, store.ErrNotFound) {
			continue
		}
		if err != nil {
			return nil, err
		}
		if b, ok := d.Files[file]; ok && strings.HasSuffix(file, ".svg") && curriculum.EditionOf(b) == edition {
			if _, err := curriculum.CheckSVG(b); err == nil {
				return b, nil
			}
		}
	}
	return nil, missing(store.ErrNotFound, "file")
}

// writable says whether a path may be written: a text of a programme folder, in the folder or a language's.
func writable(file string) bool {
	if file == "programme.yaml" {
		return true
	}
	dir, name := path.Split(file)
	parts := strings.Split(strings.TrimSuffix(dir, "/"), "/")
	return path.Clean(file) == file && strings.HasSuffix(name, ".md") && len(file) < 200 && !strings.ContainsAny(file, "\\:\x00") &&
		len(parts) <= 2 && slices.Contains([]string{"lessons", "vehicles"}, parts[0])
}

// UploadDraft makes a zip archive of a folder the actor's draft, in place of an older one.
func (s *Service) UploadDraft(ctx context.Context, actor *store.Person, archive []byte) error {
	if err := s.May(ctx, actor, WriteProgramme, Target{}); err != nil {
		return err
	}
	files, err := UnpackProgramme(archive)
	if err != nil {
		return err
	}
	info, err := s.Store.Info(ctx)
	if err != nil {
		return err
	}
	return translate(s.Store.SaveProgrammeDraft(ctx, store.ProgrammeDraft{Person: actor.ID, Base: info.Programme, Files: files, At: s.clock()}))
}

// DropDraft forgets a draft: one's own, or anybody's for who may adopt.
func (s *Service) DropDraft(ctx context.Context, actor *store.Person, person string) error {
	act := AdoptProgramme
	if person == actor.ID {
		act = WriteProgramme
	}
	if err := s.May(ctx, actor, act, Target{}); err != nil {
		return err
	}
	return translate(s.Store.DropProgrammeDraft(ctx, person))
}

// AdoptDraft adopts somebody's draft by the coordinator's signature, and forgets it. edition is what was shown.
func (s *Service) AdoptDraft(ctx context.Context, actor *store.Person, person, edition, passphrase string) (store.Receipt, error) {
	_, o, err := s.Draft(ctx, actor, person)
	if err != nil {
		return store.Receipt{}, err
	}
	r, err := s.Adopt(ctx, actor, o, edition, passphrase)
	if err != nil {
		return r, err
	}
	return r, translate(s.Store.DropProgrammeDraft(ctx, person))
}
