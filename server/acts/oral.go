package acts

import (
	"context"
	"encoding/binary"
	"strconv"

	"crypto/sha256"

	"brakewright/quiz"
	"brakewright/store"
)

// Questions to ask at the car come from the same generator as theory tests, from a draw of the job's own: whoever opens
// the page sees the same ones.

const (
	oralQuestions = 3  // a draw
	mostDraws     = 50 // of a job
)

func (s *Service) oralQuestions(ctx context.Context, actor *store.Person, job string, number int) ([]quiz.Question, error) {
	sh, err := s.jobSheet(ctx, actor, job)
	if err != nil {
		return nil, err
	}
	if err := s.mayWatch(ctx, actor, WatchJob, sh.Job, sh.Apprentice); err != nil {
		return nil, err // the answers stand beside the questions
	}
	if number < 1 || number > mostDraws {
		return nil, wrong("number", "bad_draw", "most", strconv.Itoa(mostDraws))
	}
	return s.oralForm(ctx, sh, number)
}

func (s *Service) oralForm(ctx context.Context, sh *JobSheet, number int) ([]quiz.Question, error) {
	p, err := s.edition(ctx, sh.Job.Programme)
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256([]byte("oral\n" + sh.Job.ID))
	f, err := quiz.Generate(p, quiz.Request{Task: sh.Task.ID, Questions: oralQuestions},
		quiz.Draw{Seed: binary.BigEndian.Uint64(sum[:]), Number: number, Language: p.Languages[0], Vehicle: sh.Job.Vehicle})
	if err != nil {
		return nil, err
	}
	return f.Questions, nil
}

// checkOral finds the question that was asked and keeps its words.
func (s *Service) checkOral(ctx context.Context, sh *JobSheet, o store.TapOral) (store.TapOral, error) {
	if o.Number == 0 {
		o.Number = 1
	}
	if o.Number < 1 || o.Number > mostDraws {
		return o, wrong("oral.number", "bad_draw", "most", strconv.Itoa(mostDraws))
	}
	qs, err := s.oralForm(ctx, sh, o.Number)
	if err != nil {
		return o, err
	}
	for i := range qs {
		if qs[i].ID == o.Question {
			o.Text = qs[i].Stem
			return o, nil
		}
	}
	return o, wrong("oral.question", "unknown_question", "question", o.Question)
}
