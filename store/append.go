package store

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"slices"

	"brakewright/store/ledger"
)

func (s *Store) append(ctx context.Context, sub *ledger.Submission) (Receipt, error) {
	r, err := s.appendAll(ctx, []*ledger.Submission{sub})
	if err != nil {
		return Receipt{}, err
	}
	return r[0], nil
}

func (s *Store) appendAll(ctx context.Context, subs []*ledger.Submission) ([]Receipt, error) {
	// Everything that needs neither the state nor the time of recording is done before the queue, on the caller's core.
	ready := make([]*pending, len(subs))
	for i, sub := range subs {
		p, err := s.prepare(ctx, sub)
		if err != nil {
			return nil, err
		}
		ready[i] = p
	}
	receipts := make([]Receipt, len(subs))
	err := s.write(ctx, func(t *tx) error {
		for i, p := range ready {
			r, err := t.append(p)
			if err != nil {
				return err
			}
			receipts[i] = r
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return receipts, nil
}

// pending is a submission on its way to the writer.
type pending struct {
	*ledger.Submission
	*ledger.Prepared
	good map[string][]byte // key id → the public key by which its signature was found good
}

func (s *Store) prepare(ctx context.Context, sub *ledger.Submission) (*pending, error) {
	prepared, err := sub.Prepare()
	if err != nil {
		return nil, err
	}
	if err := checkSubmission(prepared.Parsed(), sub); err != nil {
		return nil, err
	}
	p := &pending{Submission: sub, Prepared: prepared, good: map[string][]byte{}}
	return p, s.checkSignatures(ctx, p)
}

// checkSignatures verifies signatures ahead of the writer, by the keys as they are known now. It decides nothing: the
// rules ask for each signature in the transaction, and what was found good here need only be by the same public key.
func (s *Store) checkSignatures(ctx context.Context, p *pending) error {
	if len(p.Signatures) == 0 {
		return nil
	}
	return s.read(ctx, func(q querier) error {
		for _, sig := range p.Signatures {
			key, err := (&sqlFacts{q: q}).Key(sig.Key)
			if err != nil {
				return err
			}
			if key == nil {
				continue
			}
			if c, err := key.Check(sig, p.Parsed().Signed); err == nil && c.OK() {
				p.good[key.ID] = key.Public
			}
		}
		return nil
	})
}

// signatureGood is the writer's answer to the rules.
func (p *pending) signatureGood(c ledger.SignatureCheck) bool {
	if public, ok := p.good[c.Key]; ok && bytes.Equal(public, c.Public) {
		return true
	}
	return c.OK()
}

// checkSubmission checks that what goes beside the body is what the body names.
func checkSubmission(p *ledger.Parsed, sub *ledger.Submission) error {
	bad := func(field, what string) error {
		return &ledger.FormatError{Type: sub.Body.Type, Field: field, What: what}
	}
	refs := p.Refs()
	for field, want := range refs.Personal {
		f, ok := sub.Personal[field]
		if !ok || f.Hash() != want || f.Person != ledger.Owner(sub.Body) {
			return bad("payload/personal/"+field, "the value beside the entry is missing, somebody else's or another")
		}
	}
	for field := range sub.Personal {
		if _, ok := refs.Personal[field]; !ok {
			return bad("payload/personal/"+field, "the entry does not name it")
		}
	}
	for name, want := range refs.Content {
		if b, ok := sub.Content[name]; ok && ledger.Hash(b) != want {
			return bad("payload/content/"+name, "the bytes beside the entry are others")
		}
	}
	for name := range sub.Content {
		if _, ok := refs.Content[name]; !ok {
			return bad("payload/content/"+name, "the entry does not name it")
		}
	}
	if sealed, ok := sub.Content["sealed_key"]; ok {
		if err := checkSealedKey(p, sealed); err != nil {
			return bad("payload/content/sealed_key", err.Error())
		}
	}
	for hash, b := range sub.Files {
		if ledger.Hash(b) != hash {
			return bad("files/"+hash, "the bytes are others")
		}
	}
	return nil
}

// checkSealedKey: a sealed key is of the key and the person that the entry names, or its owner could never open it.
func checkSealedKey(p *ledger.Parsed, sealed []byte) error {
	id := ""
	switch x := p.Payload.(type) {
	case *ledger.OpeningPayload:
		id = x.Key.Key
	case *ledger.KeyAddedPayload:
		id = x.Key.Key
	}
	key, person, err := ledger.Sealed(sealed)
	if err != nil {
		return err
	}
	if key != id || person != p.Body.Subject {
		return errors.New("it is of another key or another person")
	}
	return nil
}

// append is one entry's way into the ledger, within a transaction.
func (t *tx) append(sub *pending) (Receipt, error) {
	if r, known, err := t.known(sub); known || err != nil {
		return r, err
	}
	next, last, err := t.tail()
	if err != nil {
		return Receipt{}, err
	}
	p, leaf, err := sub.At(max(t.s.now().UnixMilli(), last))
	if err != nil {
		return Receipt{}, err
	}
	if err := ledger.CheckWith(p, t.rulesFacts(), sub.signatureGood); err != nil {
		return Receipt{}, err
	}
	if err := t.checkLogin(sub.Submission); err != nil {
		return Receipt{}, err
	}
	if err := t.checkDraft(p); err != nil {
		return Receipt{}, err
	}
	if _, err := t.exec(`INSERT INTO entries (idx, id, leaf) VALUES ($1, $2, $3)`, next, p.Body.ID, leaf); err != nil {
		return Receipt{}, err
	}
	if err := t.storeContent(p, sub.Submission); err != nil {
		return Receipt{}, err
	}
	if err := project(t, t.contentOf, next, p, leaf); err != nil {
		return Receipt{}, err
	}
	if err := t.dropSuperseded(p); err != nil {
		return Receipt{}, err
	}
	if err := t.storePersonal(p, sub.Submission); err != nil {
		return Receipt{}, err
	}
	if err := t.afterEntry(p); err != nil {
		return Receipt{}, err
	}
	t.appended(p, next, leaf)
	return Receipt{ID: p.Body.ID, Index: next}, nil
}

// known finds an entry that came before under the same id: the same body is answered again, another is a conflict.
func (t *tx) known(sub *pending) (Receipt, bool, error) {
	id := sub.Submission.Body.ID
	var index int64
	var leaf []byte
	err := missing(t.row(`SELECT idx, leaf FROM entries WHERE id = $1`, id).Scan(&index, &leaf))
	if errors.Is(err, ErrNotFound) {
		return Receipt{}, false, nil
	}
	if err != nil {
		return Receipt{}, false, err
	}
	old, err := ledger.Parse(leaf)
	if err != nil {
		return Receipt{}, false, err
	}
	if !bytes.Equal(sub.Parsed().Signed, old.Signed) {
		return Receipt{}, false, fmt.Errorf("entry %s is there already with another body: %w", id, ErrConflict)
	}
	return Receipt{ID: id, Index: index}, true, nil
}

// tail is the next index and the time of the last entry.
func (t *tx) tail() (next, last int64, err error) {
	if t.end == nil {
		var e tail
		err := t.row(`SELECT idx + 1, recorded_at FROM entry_index ORDER BY idx DESC LIMIT 1`).Scan(&e.next, &e.last)
		if optional(err) != nil {
			return 0, 0, err
		}
		t.end = &e
	}
	return t.end.next, t.end.last, nil
}

// storeContent keeps what the entry names. Content that is there already need not come again.
func (t *tx) storeContent(p *ledger.Parsed, sub *ledger.Submission) error {
	refs := p.Refs()
	for name, hash := range refs.Content {
		if err := t.needContent(p, "payload/content/"+name, hash, sub.Content[name], sub.Content[name] != nil); err != nil {
			return err
		}
	}
	if p.Body.Type != ledger.ProgrammeAdopted {
		if len(sub.Files) > 0 {
			return &ledger.FormatError{Type: p.Body.Type, Field: "files", What: "belong to programmes only"}
		}
		return nil
	}
	list, err := t.contentOf(refs.Content["programme"])
	if err != nil {
		return err
	}
	files, err := parseProgrammeList(list)
	if err != nil {
		return &ledger.FormatError{Type: p.Body.Type, Field: "payload/content/programme", What: err.Error()}
	}
	named := map[string]bool{}
	for _, f := range files {
		b, ok := sub.Files[f.edition]
		if err := t.needContent(p, "files/"+f.path, f.edition, b, ok); err != nil {
			return err
		}
		named[f.edition] = true
	}
	for hash := range sub.Files {
		if !named[hash] {
			return &ledger.FormatError{Type: p.Body.Type, Field: "files/" + hash, What: "the list does not name it"}
		}
	}
	return nil
}

func (t *tx) needContent(p *ledger.Parsed, field, hash string, b []byte, given bool) error {
	if given {
		if b == nil {
			b = []byte{}
		}
		_, err := t.exec(`INSERT INTO contents (hash, bytes) VALUES ($1, $2) ON CONFLICT (hash) DO NOTHING`, hash, b)
		return err
	}
	var n int
	if err := t.row(`SELECT COUNT(*) FROM contents WHERE hash = $1`, hash).Scan(&n); err != nil {
		return err
	}
	if n == 0 {
		return &ledger.FormatError{Type: p.Body.Type, Field: field, What: "its bytes are neither beside the entry nor in the database"}
	}
	return nil
}

// contentOf returns stored content.
func (t *tx) contentOf(hash string) ([]byte, error) { return contentOf(t, hash) }

func contentOf(q querier, hash string) ([]byte, error) {
	var b []byte
	if err := missing(q.row(`SELECT bytes FROM contents WHERE hash = $1`, hash).Scan(&b)); err != nil {
		return nil, fmt.Errorf("content %s: %w", hash, err)
	}
	return b, nil
}

// dropSuperseded removes password hashes and sealed keys that the entry has superseded: they must not lie about to be
// guessed at.
func (t *tx) dropSuperseded(p *ledger.Parsed) error {
	switch p.Body.Type {
	case ledger.PasswordSet, ledger.KeyEnded, ledger.Erased, ledger.ErasedAgain, ledger.DisputeSettled:
		_, err := t.exec(`DELETE FROM contents WHERE hash IN (SELECT hash FROM superseded WHERE by_entry = $1)`, p.Body.ID)
		return err
	}
	return nil
}

func (t *tx) storePersonal(p *ledger.Parsed, sub *ledger.Submission) error {
	fields := make([]string, 0, len(sub.Personal))
	for f := range sub.Personal {
		fields = append(fields, f)
	}
	slices.Sort(fields)
	for _, field := range fields {
		f := sub.Personal[field]
		aead, err := t.dataKey(f.Person)
		if err != nil {
			return err
		}
		sealed, err := sealPersonal(t.s.random, aead, p.Body.ID, field, f)
		if err != nil {
			return err
		}
		_, err = t.exec(`INSERT INTO personal (entry_id, field, person_id, sealed) VALUES ($1, $2, $3, $4)`, p.Body.ID, field, f.Person, sealed)
		if err != nil {
			return err
		}
	}
	return nil
}

// checkDraft: a job that was watched on its sheet is signed as that apprentice's and that task's, and not once withdrawn.
// This rule lives here, not in the ledger's: drafts leave no entry by which it could be judged again.
func (t *tx) checkDraft(p *ledger.Parsed) error {
	x, ok := p.Payload.(*ledger.SignOffPayload)
	if !ok {
		return nil
	}
	var apprentice, task, status string
	err := missing(t.row(`SELECT apprentice, task, status FROM jobs WHERE id = $1`, x.Job).Scan(&apprentice, &task, &status))
	switch {
	case errors.Is(err, ErrNotFound):
		return nil
	case err != nil:
		return err
	case apprentice != p.Body.Subject || task != x.Task:
		return fmt.Errorf("job %s is another apprentice's, or of another task: %w", x.Job, ErrConflict)
	case JobStatus(status) == JobWithdrawn:
		return fmt.Errorf("job %s was withdrawn: %w", x.Job, ErrConflict)
	}
	return nil
}

// afterEntry tidies drafts that the entry has made an end of.
func (t *tx) afterEntry(p *ledger.Parsed) error {
	switch x := p.Payload.(type) {
	case *ledger.SignOffPayload: // its photographs stand in the entry now
		if _, err := t.exec(`DELETE FROM photos WHERE job_id = $1`, x.Job); err != nil {
			return err
		}
	case *ledger.TestHandedInPayload:
		if _, err := t.exec(`DELETE FROM draft_answers WHERE test_id = $1`, x.Test); err != nil {
			return err
		}
		if _, err := t.exec(`DELETE FROM open_tests WHERE test_id = $1`, x.Test); err != nil {
			return err
		}
	case *ledger.ErasurePayload, *ledger.ErasureReplayedPayload:
		return t.erase(p.Body.Subject)
	case *ledger.KeyAddedPayload:
		if _, err := t.exec(`DELETE FROM key_requests WHERE person_id = $1`, p.Body.Subject); err != nil {
			return err
		}
	}
	return nil
}

func leafHash(leaf []byte) []byte {
	sum := sha256.Sum256(leaf)
	return sum[:]
}
