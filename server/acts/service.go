package acts

import (
	"context"
	"encoding/json"
	"io"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode"
	"unicode/utf8"

	"brakewright/store"
	"brakewright/store/ledger"
)

func newService(s *store.Store, now func() time.Time, random io.Reader, version string) *Service {
	return &Service{Store: s, Now: now, Random: &lockedReader{reader: random}, Version: version, gate: newGate()}
}

// lockedReader makes a source of randomness safe for concurrent use; a demo's seeded one is not.
type lockedReader struct {
	mu     sync.Mutex
	reader io.Reader
}

func (l *lockedReader) Read(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return io.ReadFull(l.reader, b)
}

// ms is the time in UTC milliseconds, as stored.
func (s *Service) ms() int64 { return s.Now().UnixMilli() }

// clock is the time cut to milliseconds, so that what is stored comes back equal.
func (s *Service) clock() time.Time { return s.Now().UTC().Truncate(time.Millisecond) }

func (s *Service) today(ctx context.Context) (string, error) {
	info, err := s.Store.Info(ctx)
	if err != nil {
		return "", err
	}
	return ledger.Date(s.ms(), info.Zone)
}

// place is where and when something is done: a site ("" for none), its zone, and the date there.
type place struct {
	site, zone, date string
}

// placeOf looks a site up. A site's own zone counts for what is done there, else the programme's.
func (s *Service) placeOf(ctx context.Context, site string) (place, error) {
	info, err := s.Store.Info(ctx)
	if err != nil {
		return place{}, err
	}
	p := place{site: site, zone: info.Zone}
	if site != "" {
		x, err := s.site(ctx, site)
		if err != nil {
			return place{}, err
		}
		if x.Zone != "" {
			p.zone = x.Zone
		}
	}
	p.date, err = ledger.Date(s.ms(), p.zone)
	return p, err
}

func (s *Service) site(ctx context.Context, id string) (store.Site, error) {
	all, err := s.Store.Sites(ctx)
	if err != nil {
		return store.Site{}, err
	}
	for _, x := range all {
		if x.ID == id {
			return x, nil
		}
	}
	return store.Site{}, wrong("site", "unknown_site", "site", id)
}

// homeSite is the site that somebody's role is for, "" if it is for all or there are several.
func homeSite(p *store.Person, role, date string) string {
	site, found := "", false
	for _, r := range p.Roles {
		if r.Role == role && r.Holds(date) {
			if found && r.Site != site {
				return ""
			}
			site, found = r.Site, true
		}
	}
	return site
}

// person loads somebody; an unknown id is a refusal.
func (s *Service) person(ctx context.Context, id string) (*store.Person, error) {
	p, err := s.Store.Person(ctx, id)
	return p, missing(err, "person")
}

// May asks the permission function for today's date in the programme's zone.
func (s *Service) May(ctx context.Context, actor *store.Person, act Act, t Target) error {
	if t.Date == "" {
		date, err := s.today(ctx)
		if err != nil {
			return err
		}
		t.Date = date
	}
	return May(actor, act, t)
}

// head is what the body of an entry starts from, at the present time.
func (s *Service) head(id string, t ledger.Type, actor, subject string, at place) ledger.Head {
	return ledger.Head{ID: id, Type: t, At: s.ms(), Zone: at.zone, Actor: actor, Subject: subject, Site: at.site}
}

// entry builds a submission. Personal values belong to the subject, or to the actor where there is none.
func (s *Service) entry(h ledger.Head, payload any, personal map[string]string, content map[string][]byte) (*ledger.Submission, error) {
	owner := h.Subject
	if owner == "" {
		owner = h.Actor
	}
	for k, v := range personal {
		if v == "" {
			delete(personal, k)
		}
	}
	return ledger.NewSubmission(s.Random, h, payload, owner, personal, content)
}

// checkID refuses an id that cannot be an entry's. "" is fine: one is minted.
func checkID(id string) error {
	if id != "" && !ledger.ValidID(id) {
		return wrong("id", "bad_id", "id", id)
	}
	return nil
}

// newID mints an id.
func (s *Service) newID() (string, error) { return ledger.NewID(s.Random, s.ms()) }

// words are the personal fields of a request, tidied; "" is as good as none.
type words map[string]string

// stand says whether an entry says these words. Erased ones cannot be compared, so nobody is told that theirs differ.
func (w words) stand(e *store.EntryView) bool {
	for field, v := range w {
		said := e.Personal[field]
		if field == "reason" { // whoever keeps a clearance has said so behind it
			said, _, _ = strings.Cut(said, "\n"+keptBecause)
		}
		if said != v && !slices.Contains(e.Closed, field) {
			return false
		}
	}
	return true
}

// earlier looks whether a request was carried out before: an entry with its id, of the same type, actor, subject
// and site, whose payload matches and which says the same. Then its receipt is the answer. An entry with this id that is something
// else is a conflict: whoever sent it must learn that what they wrote this time was not kept.
func earlier[P any](ctx context.Context, s *Service, h ledger.Head, matches func(P) bool, says words) (store.Receipt, bool, error) {
	if err := checkID(h.ID); err != nil || h.ID == "" {
		return store.Receipt{}, false, err
	}
	e, err := s.Store.Entry(ctx, h.ID)
	if isNotFound(err) {
		return store.Receipt{}, false, nil
	}
	if err != nil {
		return store.Receipt{}, false, err
	}
	b := e.Entry.Body
	var p P
	if b.Type != h.Type || b.Actor != h.Actor || b.Subject != h.Subject || b.Corrects != h.Corrects || h.Site != "" && b.Site != h.Site {
		return store.Receipt{}, false, conflict("id_taken")
	}
	if err := json.Unmarshal(b.Payload, &p); err != nil || !matches(p) || !says.stand(e) {
		return store.Receipt{}, false, conflict("id_taken")
	}
	return store.Receipt{ID: b.ID, Index: e.Index}, true, nil
}

// once appends one entry that may have come before: where two equal requests run side by side, the one that comes
// second is refused, by its id or because what it asks is so by now (already cleared), and finds the first one's entry.
func once[P any](ctx context.Context, s *Service, h ledger.Head, matches func(P) bool, says words, append func() (store.Receipt, error)) (store.Receipt, error) {
	if r, done, err := earlier(ctx, s, h, matches, says); done || err != nil {
		return r, err
	}
	r, err := append()
	if _, refused := AsRefusal(err); refused {
		if first, done, _ := earlier(ctx, s, h, matches, says); done {
			return first, nil
		}
	}
	return r, err
}

// maxText bounds what a person writes into one field, in characters.
const maxText = 4000

// text tidies what was written and refuses what is too long or cannot be shown.
func text(field, v string) (string, error) {
	v = strings.TrimSpace(strings.ReplaceAll(v, "\r\n", "\n"))
	switch {
	case !utf8.ValidString(v) || strings.ContainsFunc(v, unseen):
		return "", wrong(field, "bad_text")
	case utf8.RuneCountInString(v) > maxText:
		return "", wrong(field, "text_too_long")
	}
	return v, nil
}

// unseen are signs that no text needs and that make it read as something else: controls, and what turns the direction of
// the text around it. Marks and separate letters of writing from right to left are fine.
func unseen(r rune) bool {
	switch {
	case r == '\n', r == '\t':
		return false
	case unicode.IsControl(r), r == '\u2028', r == '\u2029', r >= '\u202a' && r <= '\u202e', r >= '\u2066' && r <= '\u2069':
		return true
	}
	return false
}

// reason is text that must be there.
func reason(field, v string) (string, error) {
	v, err := text(field, v)
	if err == nil && v == "" {
		err = wrong(field, "reason_needed")
	}
	return v, err
}

// date checks a date; "" gives the fallback.
func date(field, v, fallback string) (string, error) {
	if v == "" {
		v = fallback
	}
	if !ledger.ValidDate(v) {
		return "", wrong(field, "bad_date", "date", v)
	}
	return v, nil
}

// addDays moves a valid date.
func addDays(d string, days int) string {
	t, err := time.Parse(time.DateOnly, d)
	if err != nil {
		return d
	}
	return t.AddDate(0, 0, days).Format(time.DateOnly)
}
