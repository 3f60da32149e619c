package ledger

import (
	"encoding/base64"
	"slices"
	"strconv"
	"time"

	"brakewright/readiness"
)

// DefaultRetentionYears hold where a programme's policy is silent.
var DefaultRetentionYears = readiness.DefaultPolicy().RetentionYears

// RetentionJudged is when erasures began to be judged by what the ledger says of retention and open matters (UTC, in
// milliseconds: the first of December 2026). An entry recorded before may lack its date; the program that made it had asked the same.
const RetentionJudged = 1_796_083_200_000

// Erases says whether an entry of a type erases its subject.
func Erases(t Type) bool { return t == Erased || t == ErasedAgain }

// Keeping is how long one person's records of one kind must be kept.
type Keeping struct {
	Kind  readiness.RecordKind
	Years int    // of the policy
	Last  string // date of the last entry of the kind about the person or by them
	Until string // last day on which the records must still be there
}

// KeepingOf says how long each kind of a person's records must be kept, in the order of [readiness.RecordKinds]; kinds of
// which there is none are left out. The years run from the later of the last record of the kind and the end of the last
// training agreement (29 CFR 30.12: from the record or the personnel action). zone is that of the dates.
func KeepingOf(f Facts, person, zone string) ([]Keeping, error) {
	last, err := f.LastRecords(person)
	if err != nil {
		return nil, err
	}
	agreements, err := f.Agreements(person)
	if err != nil {
		return nil, err
	}
	agreed := ""
	for _, a := range agreements {
		agreed = max(agreed, a.Until)
	}
	var all []Keeping
	for _, kind := range readiness.RecordKinds {
		at, ok := last[kind]
		if !ok {
			continue
		}
		k := Keeping{Kind: kind}
		if k.Years, err = f.KeptYears(kind); err != nil {
			return nil, err
		}
		if k.Last, err = Date(at, zone); err != nil {
			return nil, err
		}
		k.Until = mustDate(max(k.Last, agreed)).AddDate(k.Years, 0, 0).Format(time.DateOnly)
		all = append(all, k)
	}
	return all, nil
}

// KeptUntil is the last day on which any of the records must still be there.
func KeptUntil(all []Keeping) string {
	until := ""
	for _, k := range all {
		until = max(until, k.Until)
	}
	return until
}

// AgainstErasure is everything that stands against erasing a person today.
func AgainstErasure(f Facts, person, today string, keeping []Keeping) ([]*RuleError, error) {
	var all []*RuleError
	against := func(code string, args ...string) { all = append(all, broken(code, args...).(*RuleError)) }
	roles, err := f.Roles(person)
	if err != nil {
		return nil, err
	}
	if i := slices.IndexFunc(roles, func(r RoleFact) bool { return r.Until == "" || r.Until >= today }); i >= 0 {
		against(EraseRole, "role", roles[i].Role)
	}
	agreements, err := f.Agreements(person)
	if err != nil {
		return nil, err
	}
	if slices.ContainsFunc(agreements, func(a BegunFact) bool { return a.Until == "" || a.Until >= today }) {
		against(EraseAgreement)
	}
	for _, k := range keeping {
		if today <= k.Until {
			against(EraseKept, "kind", string(k.Kind), "date", k.Until, "years", strconv.Itoa(k.Years))
		}
	}
	open, err := f.OpenMatters(person)
	if err != nil {
		return nil, err
	}
	if open.Disputes > 0 {
		against(EraseDispute)
	}
	if open.Cases > 0 {
		against(EraseCase)
	}
	return all, nil
}

// erasure: nothing stands against it, and it says until when the records had to be kept.
func (j *judge) erasure(p *ErasurePayload) error {
	if err := j.notOneself(); err != nil {
		return err
	}
	if p.KeptUntil == "" && j.RecordedAt < RetentionJudged {
		return nil
	}
	keeping, err := KeepingOf(j.facts, j.Body.Subject, j.Body.Zone)
	if err != nil {
		return err
	}
	against, err := AgainstErasure(j.facts, j.Body.Subject, j.recorded, keeping)
	switch {
	case err != nil:
		return err
	case len(against) > 0:
		return against[0]
	case p.KeptUntil != KeptUntil(keeping):
		return broken(EraseDate, "date", KeptUntil(keeping))
	}
	return nil
}

// Leaves are the erasure's leaf and those that come along.
func (p *ErasureReplayedPayload) Leaves() (erasure []byte, authority [][]byte, err error) {
	if erasure, err = decode64(p.Erasure); err != nil {
		return nil, nil, err
	}
	for _, text := range p.Authority {
		leaf, err := decode64(text)
		if err != nil {
			return nil, nil, err
		}
		authority = append(authority, leaf)
	}
	return erasure, authority, nil
}

// erasureReplayed: what was judged in the history that was lost is not judged again by this one. That it was signed by a
// coordinator of this ledger is shown.
func (j *judge) erasureReplayed(p *ErasureReplayedPayload) error {
	leaf, authority, err := p.Leaves()
	if err != nil {
		return broken(WrongErasure)
	}
	l := newLost(j.facts)
	for _, leaf := range authority {
		if err := l.take(leaf); err != nil {
			return err
		}
	}
	e, err := Parse(leaf)
	if err != nil || e.Body.Type != Erased || e.Body.Subject != j.Body.Subject {
		return broken(WrongErasure)
	}
	return l.byCoordinator(e, e.Body.Actor)
}

// lost is what is known of keys and coordinators, with what entries of a lost history add to it. Each of those is judged as
// of the time when it was recorded.
type lost struct {
	facts Facts
	keys  map[string]*KeyFact
	roles map[string][]RoleFact // coordinators' alone, by person
}

func newLost(f Facts) *lost {
	return &lost{facts: f, keys: map[string]*KeyFact{}, roles: map[string][]RoleFact{}}
}

// take adds an entry that a coordinator signed: a key or a coordinator's role. Anything else, and what is not shown to be
// so signed, is a broken rule.
func (l *lost) take(leaf []byte) error {
	e, err := Parse(leaf)
	if err != nil {
		return broken(WrongErasure)
	}
	switch x := e.Payload.(type) {
	case *KeyAddedPayload:
		public, err := decode64(x.Key.Public)
		if err != nil {
			return err
		}
		key := &KeyFact{ID: x.Key.Key, Person: e.Body.Subject, Alg: x.Key.Alg, Public: public, RPID: x.Key.RPID, Origin: x.Key.Origin, AddedAt: e.RecordedAt}
		if !signedBy(e, key) {
			return broken(ErasureUnproved, "person", e.Body.Subject)
		}
		if err := l.byCoordinator(e, ""); err != nil {
			return err
		}
		l.keys[key.ID] = key
		return nil
	case *RolePayload:
		if x.Role != "coordinator" || e.Body.Actor == e.Body.Subject {
			return broken(WrongErasure)
		}
		if err := l.byCoordinator(e, e.Body.Actor); err != nil {
			return err
		}
		l.roles[e.Body.Subject] = append(l.roles[e.Body.Subject], RoleFact{Entry: e.Body.ID, Person: e.Body.Subject, Role: x.Role, From: x.From, Until: x.Until})
		return nil
	}
	return broken(WrongErasure)
}

// signedBy says whether an entry bears a good signature by a key.
func signedBy(e *Parsed, key *KeyFact) bool {
	for _, s := range e.Signatures {
		if s.Key != key.ID {
			continue
		}
		if check, err := key.Check(s, e.Signed); err == nil && check.OK() {
			return true
		}
	}
	return false
}

// byCoordinator: the entry bears the signature of somebody, "" is whoever, who was a coordinator, by a key in force.
func (l *lost) byCoordinator(e *Parsed, person string) error {
	on, err := Date(e.RecordedAt, e.Body.Zone)
	if err != nil {
		return broken(UnknownZone, "zone", e.Body.Zone)
	}
	for _, s := range e.Signatures {
		key, err := l.key(s.Key)
		if err != nil {
			return err
		}
		if key == nil || person != "" && key.Person != person || !key.inForce(e.RecordedAt) || !signedBy(e, key) {
			continue
		}
		roles, err := l.facts.Roles(key.Person)
		if err != nil {
			return err
		}
		for _, r := range append(slices.Clone(roles), l.roles[key.Person]...) {
			if r.Role == "coordinator" && inForce(r.From, r.Until, on) {
				return nil
			}
		}
	}
	return broken(ErasureUnproved, "person", person)
}

func (l *lost) key(id string) (*KeyFact, error) {
	if k := l.keys[id]; k != nil {
		return k, nil
	}
	return l.facts.Key(id)
}

// ReplayErasure makes the payload by which an erasure of a lost history is made again in this one. others are further
// leaves of that history, in order; of them those are taken that this ledger lacks and that an earlier one vouches for. Where the
// signer is not shown to have been a coordinator, the error is a broken rule.
func ReplayErasure(f Facts, erasure []byte, others [][]byte) (*ErasureReplayedPayload, error) {
	e, err := Parse(erasure)
	if err != nil || e.Body.Type != Erased {
		return nil, broken(WrongErasure)
	}
	l := newLost(f)
	var taken []*Parsed
	for _, leaf := range others {
		p, err := Parse(leaf)
		if err != nil {
			continue
		}
		if known, err := f.Entry(p.Body.ID); err != nil {
			return nil, err
		} else if known == nil && l.take(leaf) == nil {
			taken = append(taken, p)
		}
	}
	if err := l.byCoordinator(e, e.Body.Actor); err != nil {
		return nil, err
	}
	// Only what leads to the signer comes along.
	keys, people := map[string]bool{}, map[string]bool{}
	leads := func(p *Parsed) error {
		for _, s := range p.Signatures {
			keys[s.Key] = true
			k, err := l.key(s.Key)
			if err != nil {
				return err
			}
			if k != nil {
				people[k.Person] = true
			}
		}
		return nil
	}
	if err := leads(e); err != nil {
		return nil, err
	}
	authority := []string{}
	for _, p := range slices.Backward(taken) {
		k, isKey := p.Payload.(*KeyAddedPayload)
		if isKey && !keys[k.Key.Key] || !isKey && !people[p.Body.Subject] {
			continue
		}
		leaf, err := p.Leaf()
		if err != nil {
			return nil, err
		}
		authority = append(authority, base64.StdEncoding.EncodeToString(leaf))
		if err := leads(p); err != nil {
			return nil, err
		}
	}
	slices.Reverse(authority)
	return &ErasureReplayedPayload{Erasure: base64.StdEncoding.EncodeToString(erasure), Authority: authority}, nil
}
