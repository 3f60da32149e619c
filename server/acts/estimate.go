package acts

import (
	"context"

	"brakewright/readiness"
	"brakewright/store"
	"brakewright/store/ledger"
)

// Estimate is what the estimate of readiness rests on at present.
type Estimate struct {
	Parameters readiness.Parameters
	Hash       string // of the snapshot in force
}

func (s *Service) estimate(ctx context.Context, actor *store.Person) (*Estimate, error) {
	if err := s.May(ctx, actor, AdoptProgramme, Target{}); err != nil {
		return nil, err
	}
	f, err := s.frame(ctx)
	if err != nil {
		return nil, err
	}
	return &Estimate{Parameters: f.parameters, Hash: f.hash}, nil
}

func (s *Service) tradeOffs(ctx context.Context, actor *store.Person, task string) ([]readiness.TradeOff, error) {
	if err := s.May(ctx, actor, AdoptProgramme, Target{}); err != nil {
		return nil, err
	}
	f, err := s.frame(ctx)
	if err != nil {
		return nil, err
	}
	if f.programme.Task(task) == nil {
		return nil, wrong("task", "unknown_task", "task", task)
	}
	if known, ok := f.offs.Load(task); ok {
		return known.([]readiness.TradeOff), nil
	}
	offs := readiness.TradeOffs(&f.catalogue, f.policy, f.parameters, task)
	f.offs.Store(task, offs)
	return offs, nil
}

func (s *Service) suppose(ctx context.Context, actor *store.Person, apprentice, task string, x readiness.Supposed) (readiness.Verdict, error) {
	p, err := s.person(ctx, apprentice)
	if err != nil {
		return readiness.Verdict{}, err
	}
	today, err := s.today(ctx)
	if err != nil {
		return readiness.Verdict{}, err
	}
	if err := May(actor, SeeStanding, Target{Person: p, Date: today}); err != nil {
		return readiness.Verdict{}, err
	}
	f, err := s.frame(ctx)
	if err != nil {
		return readiness.Verdict{}, err
	}
	if f.programme.Task(task) == nil {
		return readiness.Verdict{}, wrong("task", "unknown_task", "task", task)
	}
	evidence, err := s.Store.Evidence(ctx, p.ID)
	if err != nil {
		return readiness.Verdict{}, err
	}
	return readiness.Suppose(&f.catalogue, evidence, f.policy, f.parameters, p.ID, task, today, x), nil
}

// readParameters reads a snapshot that is to be adopted.
func readParameters(raw []byte) (readiness.Parameters, error) {
	p, err := readiness.ReadParameters(raw)
	if err != nil {
		return p, wrong("parameters", "parameters_unreadable", "text", err.Error())
	}
	return p, nil
}

func (s *Service) adoptParameters(ctx context.Context, actor *store.Person, raw []byte, passphrase string) (store.Receipt, error) {
	if err := s.May(ctx, actor, AdoptProgramme, Target{}); err != nil {
		return store.Receipt{}, err
	}
	p, err := readParameters(raw)
	if err != nil {
		return store.Receipt{}, err
	}
	info, err := s.Store.Info(ctx)
	if err != nil {
		return store.Receipt{}, err
	}
	again, err := s.doubtful(ctx, ledger.ParametersAdopted)
	if err != nil {
		return store.Receipt{}, err
	}
	if p.Hash() == info.Parameters && !again {
		return store.Receipt{}, conflict("parameters_same")
	}
	at, err := s.placeOf(ctx, "")
	if err != nil {
		return store.Receipt{}, err
	}
	sub, err := s.entry(s.head("", ledger.ParametersAdopted, actor.ID, "", at), ledger.ParametersPayload{}, nil, map[string][]byte{"parameters": p.JSON()})
	if err != nil {
		return store.Receipt{}, err
	}
	signer, err := s.unlock(ctx, actor, passphrase, "passphrase")
	if err != nil {
		return store.Receipt{}, err
	}
	if err := sub.Sign(signer); err != nil {
		return store.Receipt{}, err
	}
	return s.submit(ctx, sub)
}
