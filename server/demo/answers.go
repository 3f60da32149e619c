package demo

import (
	"math/rand/v2"

	"brakewright/quiz"
)

// answer gives a right or a wrong answer to a question, as an apprentice would type or tap it.
func answer(q *quiz.Question, right bool, rng *rand.Rand) quiz.Answer {
	switch q.Kind {
	case quiz.Several:
		if right {
			return quiz.Answer{IDs: q.Key.IDs}
		}
		return quiz.Answer{IDs: q.Key.IDs[:len(q.Key.IDs)-1]}
	case quiz.Order:
		ids := inOrder(q)
		if !right {
			for i, j := 0, len(ids)-1; i < j; i, j = i+1, j-1 {
				ids[i], ids[j] = ids[j], ids[i]
			}
		}
		return quiz.Answer{IDs: ids}
	case quiz.Match:
		pairs := append([][2]string(nil), q.Key.Pairs...)
		if !right && len(pairs) > 1 {
			pairs[0][1], pairs[1][1] = pairs[1][1], pairs[0][1]
		}
		return quiz.Answer{Pairs: pairs}
	case quiz.Number:
		if right {
			return quiz.Answer{Text: q.Key.Number.Value + " " + q.Key.Number.Unit}
		}
		return quiz.Answer{Text: "1" + q.Key.Number.Value + " " + q.Key.Number.Unit}
	default: // single, point
		if right {
			return quiz.Answer{ID: q.Key.ID}
		}
		for {
			if o := q.Options[rng.IntN(len(q.Options))]; o.ID != q.Key.ID {
				return quiz.Answer{ID: o.ID}
			}
		}
	}
}

// inOrder sorts an order question's options so that every forced pair holds.
func inOrder(q *quiz.Question) []string {
	waits := map[string]int{}
	for _, p := range q.Key.Pairs {
		waits[p[1]]++
	}
	var out []string
	done := map[string]bool{}
	for len(out) < len(q.Options) {
		for _, o := range q.Options {
			if done[o.ID] || waits[o.ID] > 0 {
				continue
			}
			done[o.ID] = true
			out = append(out, o.ID)
			for _, p := range q.Key.Pairs {
				if p[0] == o.ID {
					waits[p[1]]--
				}
			}
			break
		}
	}
	return out
}
