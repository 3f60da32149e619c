package store

import (
	"context"
	"database/sql"
	"encoding/base64"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"golang.org/x/mod/sumdb/tlog"

	"brakewright/store/ledger"
)

// Bundle puts together what it takes to check one person's record elsewhere: one moment of the ledger. It needs the key
// file. The form of a theory test that is still open is left out: its key is in it.
func (s *Store) Bundle(ctx context.Context, person string) (*ledger.Bundle, error) {
	if s.keys == nil {
		return nil, ErrNoKeyFile
	}
	key, err := s.HeadKey(ctx)
	if err != nil {
		return nil, err
	}
	b := &ledger.Bundle{Format: ledger.BundleFormat, Person: person, MadeAt: s.now().UnixMilli(), HeadKey: key, Entries: []ledger.BundleEntry{}, Contents: []ledger.BundleContent{}}
	err = s.read(ctx, func(q querier) error {
		if err := missing(q.row(`SELECT origin, title, zone FROM founding`).Scan(&b.Origin, &b.Title, &b.Zone)); err != nil {
			return err
		}
		head, err := headOf(q)
		if err != nil {
			return err
		}
		b.Head = head.Note
		g := &gatherer{s: s, q: q, person: person, entries: map[int64]*ledger.Parsed{}, leaves: map[int64][]byte{}, keys: map[string]bool{}, persons: map[string]bool{}}
		if err := g.gather(); err != nil {
			return err
		}
		for _, index := range slices.Sorted(maps.Keys(g.entries)) {
			e, err := g.entry(index, head.Size)
			if err != nil {
				return err
			}
			b.Entries = append(b.Entries, e)
		}
		b.Contents, err = g.contents()
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("bundle of %s: %w", person, err)
	}
	return b, nil
}

// gatherer collects the entries of a bundle.
type gatherer struct {
	s       *Store
	q       querier
	person  string
	entries map[int64]*ledger.Parsed
	leaves  map[int64][]byte
	keys    map[string]bool // signing keys whose coming into force is there
	persons map[string]bool // whose they are
}

func (g *gatherer) gather() error {
	var known int
	if err := g.q.row(`SELECT COUNT(*) FROM people WHERE id = $1`, g.person).Scan(&known); err != nil {
		return err
	}
	if known == 0 {
		return ErrNotFound
	}
	if err := g.take(`i.subject = $1`, g.person); err != nil {
		return err
	}
	g.dropSeeds()
	if err := g.take(`i.idx = 0`); err != nil {
		return err
	}
	// Every signer's key leads back to the opening; ends of keys and what gave the signers their authority come along.
	for signers := g.signers(); len(signers) > 0; signers = g.signers() {
		for _, key := range signers {
			g.keys[key] = true
			var index int64
			var person string
			if err := missing(g.q.row(`SELECT idx, person_id FROM signing_keys WHERE id = $1`, key).Scan(&index, &person)); err != nil {
				return fmt.Errorf("key %s: %w", key, err)
			}
			if err := g.take(`i.idx = $1`, index); err != nil {
				return err
			}
			if g.persons[person] {
				continue
			}
			g.persons[person] = true
			types := append([]ledger.Type{ledger.KeyEnded, ledger.Erased, ledger.ErasedAgain}, ledger.BundleSupport...)
			for _, t := range types {
				if err := g.take(`i.subject = $1 AND i.type = $2`, person, string(t)); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// dropSeeds leaves out the entries of tests that are still open and that tell the seed of their form, as those from before
// December 2026 do: whoever knows it can make the form, keys included.
func (g *gatherer) dropSeeds() {
	closed := g.handedIn()
	for index, p := range g.entries {
		if x, ok := p.Payload.(*ledger.TestIssuedPayload); ok && x.Seed != "" && !closed[p.Body.ID] {
			delete(g.entries, index)
		}
	}
}

// handedIn are the tests that were handed in.
func (g *gatherer) handedIn() map[string]bool {
	closed := map[string]bool{}
	for _, p := range g.entries {
		if x, ok := p.Payload.(*ledger.TestHandedInPayload); ok {
			closed[x.Test] = true
		}
	}
	return closed
}

// take adds the entries of a condition.
func (g *gatherer) take(where string, args ...any) error {
	type row struct {
		index int64
		leaf  []byte
	}
	rows, err := collect(g.q, func(r *sql.Rows) (x row, err error) { return x, r.Scan(&x.index, &x.leaf) },
		`SELECT e.idx, e.leaf FROM entry_index i JOIN entries e ON e.idx = i.idx WHERE `+where, args...)
	if err != nil {
		return err
	}
	for _, r := range rows {
		p, err := ledger.Parse(r.leaf)
		if err != nil {
			return fmt.Errorf("entry %d: %w", r.index, err)
		}
		g.entries[r.index], g.leaves[r.index] = p, r.leaf
	}
	return nil
}

// signers are the keys that have signed something here and are not there yet.
func (g *gatherer) signers() []string {
	all := map[string]bool{}
	for _, p := range g.entries {
		for _, s := range p.Signatures {
			if !g.keys[s.Key] {
				all[s.Key] = true
			}
		}
	}
	return slices.Sorted(maps.Keys(all))
}

func (g *gatherer) entry(index, size int64) (e ledger.BundleEntry, err error) {
	proof, err := prove(keptHashes{g.q}, size, func(kept keptHashes) ([]tlog.Hash, error) { return tlog.ProveRecord(size, index, kept) })
	if err != nil {
		return e, err
	}
	p := g.entries[index]
	e = ledger.BundleEntry{Index: index, Leaf: base64.StdEncoding.EncodeToString(g.leaves[index]), Proof: ledger.EncodeHashes(proof.Hashes)}
	if p.Body.Subject != g.person || len(p.Refs().Personal) == 0 {
		return e, nil
	}
	rows, err := collect(g.q, func(r *sql.Rows) (x sealedRow, err error) {
		return x, r.Scan(&x.field, &x.person, &x.sealed)
	}, `SELECT field, person_id, sealed FROM personal WHERE entry_id = $1 ORDER BY field`, p.Body.ID)
	if err != nil {
		return e, err
	}
	for _, r := range rows {
		aead, err := g.s.dataKey(g.q, r.person)
		if err != nil {
			return e, err
		}
		f, err := openPersonal(aead, p.Body.ID, r.field, r.person, r.sealed)
		if err != nil {
			return e, fmt.Errorf("personal field %s of entry %s: %w", r.field, p.Body.ID, err)
		}
		e.Personal = append(e.Personal, ledger.BundleField{Field: r.field, Salt: base64.StdEncoding.EncodeToString(f.Salt[:]), Value: string(f.Value)})
	}
	slices.SortFunc(e.Personal, func(a, b ledger.BundleField) int { return strings.Compare(a.Field, b.Field) })
	return e, nil
}

// contents are what the person's entries name, as far as it goes into a bundle.
func (g *gatherer) contents() ([]ledger.BundleContent, error) {
	closed := g.handedIn()
	wanted, open := map[string]bool{}, map[string]bool{}
	for _, p := range g.entries {
		if p.Body.Subject != g.person {
			continue
		}
		for name, hash := range p.Refs().Content {
			switch {
			case p.Body.Type == ledger.TestIssued && !closed[p.Body.ID]:
				open[hash] = true
			case ledger.BundledContent(name):
				wanted[hash] = true
			}
		}
	}
	all := []ledger.BundleContent{}
	for _, hash := range slices.Sorted(maps.Keys(wanted)) {
		if open[hash] {
			continue
		}
		raw, err := contentOf(g.q, hash)
		if err != nil {
			return nil, err
		}
		all = append(all, ledger.BundleContent{Hash: hash, Bytes: base64.StdEncoding.EncodeToString(raw)})
	}
	return all, nil
}

// VerifyBundle checks a bundle's file by itself. heads were kept elsewhere; with the key file the head must be signed by
// its key.
func VerifyBundle(file []byte, keys *KeyFile, heads []*ledger.TreeHead) *Verification {
	v := &Verification{OK: true, Checks: []Check{}, NotExamined: []string{"completeness"}}
	wrong := func(p *Problem) *Verification {
		v.OK, v.FirstProblem = false, p
		v.Checks = append(v.Checks, Check{Name: "bundle", Count: v.Entries})
		return v
	}
	b, err := ledger.ReadBundle(file)
	if err != nil {
		return wrong(&Problem{Table: "bundle", Row: "", Index: -1, What: err.Error()})
	}
	r := ledger.CheckBundle(b)
	v.Entries = r.Entries
	if r.Head != nil {
		v.Head = &r.Head.Note
	}
	if r.Problem != nil {
		return wrong(&Problem{Table: "bundle", Row: r.Problem.Row, Index: r.Problem.Index, What: r.Problem.What})
	}
	if keys == nil {
		v.NotExamined = append(v.NotExamined, "head_key")
	} else if key, err := ledger.NewHeadKey(b.Origin, keys.HeadSeed); err != nil || key.Public() != b.HeadKey {
		return wrong(&Problem{Table: "bundle", Row: "head_key", Index: -1, What: errors.Join(errors.New("it is not the key file's tree key"), err).Error()})
	}
	compared := 0
	for _, h := range heads {
		switch {
		case h.Origin != b.Origin:
			return wrong(&Problem{Table: "bundle", Row: "head", Index: -1, What: fmt.Sprintf("the head given is of %s, the bundle of %s", h.Origin, b.Origin)})
		case h.Size == r.Head.Size && h.Root != r.Head.Root:
			return wrong(&Problem{Table: "bundle", Row: "head", Index: -1, What: "the head given is of as many entries, but not of these"})
		case h.Size == r.Head.Size:
			compared++
		}
	}
	if compared == 0 {
		v.NotExamined = append(v.NotExamined, "rollback")
	}
	v.Checks = append(v.Checks, Check{"head", r.Head.Size, true}, Check{"entries", r.Entries, true}, Check{"about the person", r.About, true},
		Check{"signatures", r.Signatures, true}, Check{"personal", r.Personal, true}, Check{"content", r.Contents, true})
	return v
}
