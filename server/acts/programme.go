package acts

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"

	"brakewright/curriculum"
	"brakewright/readiness"
	"brakewright/store"
	"brakewright/store/ledger"
)

// keptProgrammes is how many editions stay parsed in memory: the one in use, those of jobs that are still open, and
// those just compared.
const keptProgrammes = 8

// programmeCache holds what follows from an edition alone, which never changes. It can be lost at any time.
type programmeCache struct {
	mu         sync.Mutex
	programmes []*curriculum.Programme // the latest used comes last
	frames     []*frame                // the latest used comes last
	reread     map[[3]string]bool      // lesson, old edition, new edition
}

func (s *Service) programme(ctx context.Context) (*curriculum.Programme, error) {
	info, err := s.Store.Info(ctx)
	if err != nil {
		return nil, err
	}
	return s.edition(ctx, info.Programme)
}

// Edition returns a programme edition ever adopted, parsed.
func (s *Service) Edition(ctx context.Context, edition string) (*curriculum.Programme, error) {
	return s.edition(ctx, edition)
}

func (s *Service) edition(ctx context.Context, edition string) (*curriculum.Programme, error) {
	c := &s.cache
	c.mu.Lock()
	for i, p := range c.programmes {
		if p.Edition == edition {
			c.programmes = append(slices.Delete(c.programmes, i, i+1), p)
			c.mu.Unlock()
			return p, nil
		}
	}
	c.mu.Unlock()
	kept, err := s.Store.Programme(ctx, edition)
	if err != nil {
		return nil, missing(err, "programme")
	}
	p, problems := curriculum.Load(memFS(kept.Files))
	if p == nil {
		return nil, fmt.Errorf("programme edition %s, once adopted, does not load any more: %v", edition, problems)
	}
	if p.Edition != edition {
		return nil, fmt.Errorf("programme edition %s comes out of the database as %s", edition, p.Edition)
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.programmes = append(c.programmes, p)
	if n := len(c.programmes) - keptProgrammes; n > 0 {
		c.programmes = slices.Delete(c.programmes, 0, n)
	}
	return p, nil
}

// StoredProgramme turns a loaded programme into what the store keeps.
func StoredProgramme(p *curriculum.Programme) *store.Programme {
	out := &store.Programme{Edition: p.Edition, Files: map[string][]byte{}}
	var list strings.Builder
	for _, f := range p.Files {
		out.Files[f.Path] = f.Bytes
		list.WriteString(f.Edition + "  " + f.Path + "\n")
	}
	out.List = []byte(list.String())
	return out
}

// files are a programme's files by their hash, as content of an adoption.
func files(p *curriculum.Programme) map[string][]byte {
	out := map[string][]byte{}
	for _, f := range p.Files {
		out[f.Edition] = f.Bytes
	}
	return out
}

// adoptedEditions are the editions that were adopted before the one in use, each once, the latest first.
func (s *Service) adoptedEditions(ctx context.Context, current string) ([]string, error) {
	all, err := s.Store.Adoptions(ctx)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, a := range slices.Backward(all) {
		if a.Edition != current && !slices.Contains(out, a.Edition) {
			out = append(out, a.Edition)
		}
	}
	return out, nil
}

// rereadAfter are, by lesson, the editions whose readers must read again: those adopted once, in any language, from
// which the lesson of today differs in more than typography.
func (s *Service) rereadAfter(ctx context.Context, p *curriculum.Programme) (map[string][]string, error) {
	editions, err := s.adoptedEditions(ctx, p.Edition)
	if err != nil {
		return nil, err
	}
	out := map[string][]string{}
	for _, e := range editions {
		old, err := s.edition(ctx, e)
		if err != nil {
			return nil, err
		}
		for _, now := range p.Lessons {
			for _, language := range old.Languages {
				before := old.Lesson(now.ID, language)
				if before == nil || before.Edition == now.Edition || slices.Contains(out[now.ID], before.Edition) {
					continue
				}
				if s.mustReread(before, now, p) {
					out[now.ID] = append(out[now.ID], before.Edition)
				}
			}
		}
	}
	return out, nil
}

// mustReread compares a lesson once adopted with the same lesson now, in the language it was read in.
func (s *Service) mustReread(before, now *curriculum.Lesson, p *curriculum.Programme) bool {
	if same := p.Lesson(now.ID, before.Language); same != nil && same.Language == before.Language {
		now = same
	}
	if before.Edition == now.Edition {
		return false
	}
	c := &s.cache
	key := [3]string{now.ID, before.Edition, now.Edition}
	c.mu.Lock()
	known, ok := c.reread[key]
	c.mu.Unlock()
	if ok {
		return known
	}
	known = curriculum.MateriallyChanged(before, now)
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.reread == nil {
		c.reread = map[[3]string]bool{}
	}
	c.reread[key] = known
	return known
}

// catalogue says what there is to be ready for in a programme. Supervisors and questions are not listed: a standing
// rests on the apprentice's own evidence and the parameters, and evidence names both itself.
func catalogue(p *curriculum.Programme, reread, retest map[string][]string) readiness.Catalogue {
	c := readiness.Catalogue{Supervisors: []readiness.CatalogueSupervisor{}, Questions: []readiness.CatalogueQuestion{}}
	for _, t := range p.Tasks {
		ct := readiness.CatalogueTask{Task: t.ID, Prerequisites: t.Prerequisites, Steps: []readiness.CatalogueStep{}, RetestAfter: retest[t.ID]}
		for _, id := range t.Lessons {
			l := p.Lesson(id, p.Languages[0])
			if l == nil {
				continue
			}
			ct.Lessons = append(ct.Lessons, readiness.CatalogueLesson{Lesson: id, Edition: l.Edition, RereadAfter: reread[id]})
			if l.Procedure == nil {
				continue
			}
			for _, st := range l.Procedure.Steps {
				if len(st.Children) == 0 {
					ct.Steps = append(ct.Steps, readiness.CatalogueStep{Step: id + "/" + st.ID, Critical: st.Critical})
				}
			}
		}
		c.Tasks = append(c.Tasks, ct)
	}
	return c
}

// Catalogue is the catalogue of the programme in use, for `assess --database`.
func (s *Service) Catalogue(ctx context.Context) (readiness.Catalogue, error) {
	f, err := s.frame(ctx)
	if err != nil {
		return readiness.Catalogue{}, err
	}
	return f.catalogue, nil
}

// ---- editions offered and adopted ----

func (s *Service) adopt(ctx context.Context, actor *store.Person, offer *Offer, edition, passphrase string) (store.Receipt, error) {
	if err := s.May(ctx, actor, AdoptProgramme, Target{}); err != nil {
		return store.Receipt{}, err
	}
	info, err := s.Store.Info(ctx)
	if err != nil {
		return store.Receipt{}, err
	}
	again, err := s.doubtful(ctx, ledger.ProgrammeAdopted)
	if err != nil {
		return store.Receipt{}, err
	}
	switch {
	case offer == nil || offer.Programme == nil:
		return store.Receipt{}, conflict("offer_broken")
	case offer.Programme.Edition != edition:
		return store.Receipt{}, conflict("offer_changed")
	case offer.Programme.Edition == info.Programme && !again:
		return store.Receipt{}, conflict("offer_same")
	}
	before, err := s.adoptedEditions(ctx, info.Programme)
	if err != nil {
		return store.Receipt{}, err
	}
	at, err := s.placeOf(ctx, "")
	if err != nil {
		return store.Receipt{}, err
	}
	kept := StoredProgramme(offer.Programme)
	sub, err := s.entry(s.head("", ledger.ProgrammeAdopted, actor.ID, "", at),
		ledger.ProgrammePayload{Restores: slices.Contains(before, edition)}, nil, map[string][]byte{"programme": kept.List})
	if err != nil {
		return store.Receipt{}, err
	}
	sub.Files = files(offer.Programme)
	signer, err := s.unlock(ctx, actor, passphrase, "passphrase")
	if err != nil {
		return store.Receipt{}, err
	}
	if err := sub.Sign(signer); err != nil {
		return store.Receipt{}, err
	}
	return s.submit(ctx, sub)
}
