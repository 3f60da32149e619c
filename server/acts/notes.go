package acts

import (
	"context"
	"slices"
	"time"

	"brakewright/store"
	"brakewright/store/ledger"
)

// maxNote bounds a shop note, in characters: it is read beside a step, in the bay.
const maxNote = 400

// Note is a shop note: what this shop adds to a step, without a lesson of its own. It stands beside the step in every edition that
// has it, until it is taken off.
type Note struct {
	Entry        string
	Lesson, Step string
	Text         string // "" where it cannot be opened
	By           string
	At           time.Time
	RemovedBy    string // "" while it hangs
	RemovedAt    time.Time
}

// Notes lists all shop notes, those taken off too, oldest first. They are no secret: whoever reads lessons reads them.
func (s *Service) Notes(ctx context.Context) ([]Note, error) {
	var out []Note
	at := map[string]int{}
	const page = 1000
	for from := int64(0); ; {
		views, err := s.Store.Entries(ctx, store.EntryFilter{From: from, Limit: page, Types: []ledger.Type{ledger.ShopNote}})
		if err != nil {
			return nil, err
		}
		for _, v := range views {
			from = v.Index + 1
			p, err := ledger.PayloadOf[ledger.ShopNotePayload](v.Entry.Body)
			if err != nil {
				return nil, err
			}
			when := time.UnixMilli(v.Entry.RecordedAt).UTC()
			if p.Removes != "" {
				if i, ok := at[p.Removes]; ok && out[i].RemovedBy == "" {
					out[i].RemovedBy, out[i].RemovedAt = v.Entry.Body.Actor, when
				}
				continue
			}
			at[v.Entry.Body.ID] = len(out)
			out = append(out, Note{Entry: v.Entry.Body.ID, Lesson: p.Lesson, Step: p.Step, Text: v.Personal["note"], By: v.Entry.Body.Actor, At: when})
		}
		if len(views) < page {
			return out, nil
		}
	}
}

// NotesBeside are the notes that hang, by LESSON/STEP.
func (s *Service) NotesBeside(ctx context.Context) (map[string][]Note, error) {
	all, err := s.Notes(ctx)
	if err != nil {
		return nil, err
	}
	out := map[string][]Note{}
	for _, n := range all {
		if n.RemovedBy == "" && n.Text != "" {
			out[n.Lesson+"/"+n.Step] = append(out[n.Lesson+"/"+n.Step], n)
		}
	}
	return out, nil
}

// PinNote pins a note to a step of the edition in use. id is the entry's, "" mints one. Nothing of the lesson changes, so nobody has to
// read it again.
func (s *Service) PinNote(ctx context.Context, actor *store.Person, id, lesson, step, note string) (store.Receipt, error) {
	if err := s.May(ctx, actor, PinNote, Target{}); err != nil {
		return store.Receipt{}, err
	}
	note, err := text("note", oneLine(note))
	switch {
	case err != nil:
		return store.Receipt{}, err
	case note == "":
		return store.Receipt{}, wrong("note", "note_empty")
	case len([]rune(note)) > maxNote:
		return store.Receipt{}, wrong("note", "text_too_long")
	}
	at, err := s.placeOf(ctx, "")
	if err != nil {
		return store.Receipt{}, err
	}
	h := s.head(id, ledger.ShopNote, actor.ID, "", at)
	same := func(p ledger.ShopNotePayload) bool { return p.Lesson == lesson && p.Step == step && p.Removes == "" }
	return once(ctx, s, h, same, words{"note": note}, func() (store.Receipt, error) {
		p, err := s.programme(ctx)
		if err != nil {
			return store.Receipt{}, err
		}
		l := p.Lesson(lesson, "")
		if l == nil {
			return store.Receipt{}, wrong("lesson", "unknown_lesson", "lesson", lesson)
		}
		if l.Procedure == nil || l.Procedure.Step(step) == nil {
			return store.Receipt{}, wrong("step", "unknown_step", "step", cutName(step))
		}
		sub, err := s.entry(h, ledger.ShopNotePayload{Lesson: lesson, Step: step}, map[string]string{"note": note}, nil)
		if err != nil {
			return store.Receipt{}, err
		}
		return s.submit(ctx, sub)
	})
}

// RemoveNote takes a note off. It stays in the record.
func (s *Service) RemoveNote(ctx context.Context, actor *store.Person, id, note string) (store.Receipt, error) {
	if err := s.May(ctx, actor, PinNote, Target{}); err != nil {
		return store.Receipt{}, err
	}
	at, err := s.placeOf(ctx, "")
	if err != nil {
		return store.Receipt{}, err
	}
	h := s.head(id, ledger.ShopNote, actor.ID, "", at)
	same := func(p ledger.ShopNotePayload) bool { return p.Removes == note }
	return once(ctx, s, h, same, nil, func() (store.Receipt, error) {
		all, err := s.Notes(ctx)
		if err != nil {
			return store.Receipt{}, err
		}
		i := slices.IndexFunc(all, func(n Note) bool { return n.Entry == note })
		switch {
		case i < 0:
			return store.Receipt{}, missing(store.ErrNotFound, "note")
		case all[i].RemovedBy != "":
			return store.Receipt{}, conflict("note_removed")
		}
		sub, err := s.entry(h, ledger.ShopNotePayload{Lesson: all[i].Lesson, Step: all[i].Step, Removes: note}, nil, nil)
		if err != nil {
			return store.Receipt{}, err
		}
		return s.submit(ctx, sub)
	})
}
