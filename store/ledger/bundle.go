package ledger

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"slices"
	"strings"

	"golang.org/x/mod/sumdb/tlog"
)

// A bundle is one file with everything that it takes to check one person's record without the database: RFC 8785 JSON of
// [Bundle], and a line end. server/schemas/bundle-1.json describes it; testdata/checker/check.py checks one in another
// language.

// BundleFormat is the value of a bundle's "format".
const BundleFormat = "brakewright-bundle/1"

// maxBundle bounds a bundle's bytes.
const maxBundle = 1 << 28

// Bundle is a bundle. Lists are in the order of the ledger, or of their hashes.
type Bundle struct {
	Format   string          `json:"format"`
	Origin   string          `json:"origin"`
	Title    string          `json:"title"` // of the programme
	Zone     string          `json:"zone"`
	Person   string          `json:"person"`
	MadeAt   int64           `json:"made_at"`  // UTC, milliseconds
	Head     string          `json:"head"`     // signed note that all proofs lead to
	HeadKey  string          `json:"head_key"` // C2SP verifier key
	Entries  []BundleEntry   `json:"entries"`
	Contents []BundleContent `json:"contents"`
}

// BundleEntry is an entry with its proof. Beside those about the person there are those by which the keys of their signers
// came into force and ended, back to the opening, and by which the signers were given their authority.
type BundleEntry struct {
	Index    int64         `json:"index"`
	Leaf     string        `json:"leaf"`               // base64
	Proof    []string      `json:"proof"`              // base64, from the leaf up
	Personal []BundleField `json:"personal,omitempty"` // opened fields of entries about the person
}

// BundleField opens one personal field: SHA-256(salt ‖ value) stands in the entry.
type BundleField struct {
	Field string `json:"field"`
	Salt  string `json:"salt"` // base64, 32 bytes
	Value string `json:"value"`
}

// BundleContent is content that an entry names by its SHA-256: forms of tests handed in, answers, marks, verdicts, policies.
type BundleContent struct {
	Hash  string `json:"hash"`
	Bytes string `json:"bytes"` // base64
}

// BundledContent says whether content of a name goes into a bundle. Secrets do not, nor parameters, which say how strict
// each supervisor is, nor programmes, which are large and nobody's own.
func BundledContent(name string) bool {
	return slices.Contains([]string{"form", "answers", "marks", "verdict", "policy"}, name)
}

// Encode is the bundle's file.
func (b *Bundle) Encode() ([]byte, error) {
	text, err := canonical(b)
	if err != nil {
		return nil, err
	}
	return append(text, '\n'), nil
}

// ReadBundle reads a bundle's file strictly: what it accepts, Encode writes again byte for byte.
func ReadBundle(file []byte) (*Bundle, error) {
	if len(file) > maxBundle {
		return nil, fmt.Errorf("it has %d bytes; a bundle has at most %d", len(file), maxBundle)
	}
	text, ok := bytes.CutSuffix(file, []byte("\n"))
	if !ok {
		return nil, errors.New("it does not end with a line end: it may be cut short")
	}
	b := &Bundle{}
	if err := readCanonical(text, b); err != nil {
		return nil, err
	}
	if b.Format != BundleFormat {
		return nil, fmt.Errorf("its format is %q, not %q", b.Format, BundleFormat)
	}
	return b, nil
}

// BundleProblem is the first thing wrong with a bundle.
type BundleProblem struct {
	Index int64  // of the entry concerned, -1 if none
	Row   string // what in the bundle
	What  string
}

func (p *BundleProblem) Error() string { return p.Row + ": " + p.What }

// BundleReport is what checking a bundle found.
type BundleReport struct {
	Head                                           *TreeHead
	Entries, About, Signatures, Personal, Contents int64
	Closed                                         int64 // personal fields of the person that are not in the bundle: erased
	Problem                                        *BundleProblem
}

// CheckBundle checks everything that a bundle can prove by itself: the head is signed by the key in the bundle, every
// entry is under the head, every signature is by a key that was in force, every key came into force by signatures that
// lead to the opening, whoever had to sign has signed and had the role or appointment for it at the time, what is opened is
// what the entries name. It cannot prove that no entry was left out, that the key is the right one, nor that the head is one
// that others know.
func CheckBundle(b *Bundle) *BundleReport {
	c := &bundleCheck{b: b, r: &BundleReport{}, keys: map[string]*KeyFact{}, named: map[string]int64{}, state: NewState()}
	if err := c.run(); err != nil {
		var p *BundleProblem
		if !errors.As(err, &p) {
			p = &BundleProblem{Index: -1, Row: "bundle", What: err.Error()}
		}
		c.r.Problem = p
	}
	return c.r
}

type bundleCheck struct {
	b     *Bundle
	r     *BundleReport
	keys  map[string]*KeyFact
	named map[string]int64 // content → first entry that names it
	state *State           // what the entries so far say of roles, appointments and keys, and nothing else
}

func (c *bundleCheck) run() error {
	head, err := OpenHead(c.b.Head, c.b.HeadKey)
	if err != nil {
		return &BundleProblem{-1, "head", err.Error()}
	}
	if head.Origin != c.b.Origin {
		return &BundleProblem{-1, "head", fmt.Sprintf("it is of %s, the bundle of %s", head.Origin, c.b.Origin)}
	}
	c.r.Head = head
	last := int64(-1)
	for i := range c.b.Entries {
		e := &c.b.Entries[i]
		if e.Index <= last {
			return &BundleProblem{e.Index, fmt.Sprintf("entries/%d", i), "the entries are not in the order of the ledger"}
		}
		last = e.Index
		if err := c.entry(e); err != nil {
			return &BundleProblem{e.Index, fmt.Sprintf("entries/%d", i), err.Error()}
		}
		c.r.Entries++
	}
	if len(c.b.Entries) == 0 || c.b.Entries[0].Index != 0 {
		return &BundleProblem{-1, "entries", "the opening is not among them"}
	}
	if c.r.About == 0 {
		return &BundleProblem{-1, "entries", "none is about the person"}
	}
	for i := range c.b.Contents {
		if err := c.content(i); err != nil {
			return &BundleProblem{-1, fmt.Sprintf("contents/%d", i), err.Error()}
		}
		c.r.Contents++
	}
	return nil
}

func (c *bundleCheck) entry(e *BundleEntry) error {
	leaf, err := decode64(e.Leaf)
	if err != nil {
		return err
	}
	p, err := Parse(leaf)
	if err != nil {
		return err
	}
	proof, err := decodeHashes(e.Proof)
	if err != nil {
		return err
	}
	if err := CheckInclusion(proof, c.r.Head.HeadBody, e.Index, LeafHash(leaf)); err != nil {
		return err
	}
	if (e.Index == 0) != (p.Body.Type == Opening) {
		return errors.New("the opening is entry 0 and nothing else is")
	}
	if x, ok := p.Payload.(*OpeningPayload); ok && (x.Origin != c.b.Origin || x.Title != c.b.Title || p.Body.Zone != c.b.Zone) {
		return errors.New("the bundle names another origin, title or zone than the opening")
	}
	if err := c.signatures(e.Index, p); err != nil {
		return err
	}
	refs := p.Refs()
	for name, hash := range refs.Content {
		if _, ok := c.named[hash]; !ok && BundledContent(name) {
			c.named[hash] = e.Index
		}
	}
	if p.Body.Subject != c.b.Person {
		if len(e.Personal) > 0 {
			return errors.New("it is about somebody else, but personal fields are opened")
		}
		return nil
	}
	c.r.About++
	return c.personal(e, refs)
}

// personal: what is opened is what the entry names.
func (c *bundleCheck) personal(e *BundleEntry, refs Refs) error {
	last := ""
	for _, f := range e.Personal {
		if f.Field <= last {
			return fmt.Errorf("the personal field %q stands there twice or out of order", f.Field)
		}
		last = f.Field
		salt, err := decode64(f.Salt)
		if err != nil || len(salt) != 32 {
			return fmt.Errorf("the salt of %q is not 32 bytes as base64", f.Field)
		}
		field := PersonalField{Value: []byte(f.Value)}
		copy(field.Salt[:], salt)
		if field.Hash() != refs.Personal[f.Field] {
			return fmt.Errorf("the personal field %q is not what the entry names", f.Field)
		}
		c.r.Personal++
	}
	c.r.Closed += int64(len(refs.Personal) - len(e.Personal))
	return nil
}

// signatures: each is good, by a key that came into force before and had not ended. Keys come into force here as well.
func (c *bundleCheck) signatures(index int64, p *Parsed) error {
	var fresh *KeyFact
	switch x := p.Payload.(type) {
	case *OpeningPayload:
		fresh = keyFact(x.Key, p)
	case *KeyAddedPayload:
		fresh = keyFact(x.Key, p)
	}
	vouched, own := p.Body.Type == Opening, false
	for _, s := range p.Signatures {
		key := c.keys[s.Key]
		if fresh != nil && s.Key == fresh.ID {
			key, own = fresh, true
		} else if key != nil {
			vouched = true
		}
		switch {
		case key == nil:
			return fmt.Errorf("the key %s is not in the bundle", s.Key)
		case key != fresh && !key.inForce(p.RecordedAt):
			return fmt.Errorf("the key %s was not in force", s.Key)
		}
		if check, err := key.Check(s, p.Signed); err != nil || !check.OK() {
			return fmt.Errorf("the signature by key %s does not fit the entry", s.Key)
		}
		c.r.Signatures++
	}
	if err := c.authority(index, p); err != nil {
		return err
	}
	if fresh != nil {
		if !own || !vouched {
			return errors.New("a new key is signed by itself and by a coordinator's")
		}
		if c.keys[fresh.ID] != nil {
			return fmt.Errorf("the key %s comes into force twice", fresh.ID)
		}
		c.keys[fresh.ID] = fresh
	}
	switch x := p.Payload.(type) {
	case *KeyEndedPayload:
		if key := c.keys[x.Key]; key != nil {
			key.EndedAt = max(x.From, 1)
		}
	case *ErasurePayload, *ErasureReplayedPayload:
		for _, key := range c.keys {
			if key.Person == p.Body.Subject && key.EndedAt == 0 {
				key.EndedAt = max(p.RecordedAt, 1)
			}
		}
	}
	return nil
}

// authority judges a signed entry by the rules of who may make and sign it, as far as the entries so far bring the facts: the
// roles and appointments of all signers come along with a bundle.
func (c *bundleCheck) authority(index int64, p *Parsed) error {
	s := c.state
	s.next, s.keys = index, c.keys
	k, _ := KindOf(p.Body.Type)
	j := &judge{Parsed: p, kind: k, facts: s, verify: func(SignatureCheck) bool { return true }} // they were verified
	rules := []func() error{j.dates, j.signatures, j.maker, j.signing}
	role, _ := p.Payload.(*RolePayload)
	switch {
	case k.Signing == SignNone && len(p.Signatures) == 0, role != nil && role.Role != "coordinator" && !role.Author && len(p.Signatures) == 0:
		rules = nil
	case p.Body.Type == KeyAdded: // by whom it was asked for does not matter
		rules = []func() error{j.dates, j.signatures, j.signing}
	}
	for _, rule := range rules {
		if err := rule(); err != nil {
			return err
		}
	}
	s.note(p)
	return nil
}

// note takes from an entry what says who had authority. Nothing is asked of what came before: entries may be left out.
func (s *State) note(p *Parsed) {
	b := &p.Body
	task := TaskOf(p.Payload)
	if named := s.entries[Names(b, p.Payload)]; task == "" && named != nil {
		task = named.Task
	}
	s.entries[b.ID] = &EntryFact{Type: b.Type, Actor: b.Actor, Subject: b.Subject, Site: b.Site, Task: task}
	switch x := p.Payload.(type) {
	case *RolePayload, *AppointmentPayload:
		s.authority(b, x)
	case *EndPayload:
		if s.begun[x.Ends] != nil {
			s.end(b.Subject, x)
		}
	}
}

func keyFact(k KeyPayload, p *Parsed) *KeyFact {
	public, err := decode64(k.Public)
	if err != nil {
		return nil // Parse has refused it
	}
	return &KeyFact{ID: k.Key, Person: p.Body.Subject, Alg: k.Alg, Public: public, RPID: k.RPID, Origin: k.Origin, AddedAt: p.RecordedAt}
}

func (c *bundleCheck) content(i int) error {
	x := c.b.Contents[i]
	if i > 0 && x.Hash <= c.b.Contents[i-1].Hash {
		return errors.New("the contents are not in the order of their hashes")
	}
	raw, err := decode64(x.Bytes)
	if err != nil {
		return err
	}
	if Hash(raw) != x.Hash {
		return errors.New("the bytes are not what the hash says")
	}
	if _, ok := c.named[x.Hash]; !ok {
		return errors.New("no entry of the bundle names it")
	}
	return nil
}

func decode64(text string) ([]byte, error) {
	raw, err := base64.StdEncoding.Strict().DecodeString(text)
	if err != nil || strings.ContainsAny(text, "\r\n") {
		return nil, errors.New("it is not base64")
	}
	return raw, nil
}

func decodeHashes(texts []string) ([]tlog.Hash, error) {
	all := make([]tlog.Hash, len(texts))
	for i, text := range texts {
		raw, err := decode64(text)
		if err != nil || len(raw) != sha256.Size {
			return nil, errors.New("a hash of the proof is not 32 bytes as base64")
		}
		copy(all[i][:], raw)
	}
	return all, nil
}

// EncodeHashes is a proof as it stands in a bundle.
func EncodeHashes(hashes []tlog.Hash) []string {
	all := make([]string, len(hashes))
	for i, h := range hashes {
		all[i] = h.String()
	}
	return all
}

// BundleSupport says which further entries a bundle needs for an entry's signatures and their authority: given the ids of
// signing keys and persons, the types that are looked for by subject.
var BundleSupport = []Type{RoleGranted, RoleEnded, Appointed, AppointmentEnded}
