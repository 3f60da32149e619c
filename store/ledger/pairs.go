package ledger

import "sort"

// SignedJobs says how many watched jobs somebody signed for an apprentice.
type SignedJobs struct {
	By, Apprentice string
	Jobs           int
}

// Pair is two people who only sign for each other: everything that By signed is for Apprentice, and everything that is
// signed about Apprentice is signed by By. Mutual says that each signs for the other.
type Pair struct {
	By, Apprentice string
	Jobs           int
	Mutual         bool
}

// Pairs finds people who only sign for each other, from least jobs on: nothing forbids it, but the record then rests on
// one person's word, and a coordinator should know. Sorted by names.
func Pairs(signed []SignedJobs, least int) []Pair {
	given, taken, jobs := map[string]int{}, map[string]int{}, map[[2]string]int{}
	for _, s := range signed {
		given[s.By] += s.Jobs
		taken[s.Apprentice] += s.Jobs
		jobs[[2]string{s.By, s.Apprentice}] += s.Jobs
	}
	var out []Pair
	for pair, n := range jobs {
		by, apprentice := pair[0], pair[1]
		back := jobs[[2]string{apprentice, by}]
		switch {
		case back > 0 && n+back >= least && given[by] == n && given[apprentice] == back:
			if by < apprentice { // once
				out = append(out, Pair{By: by, Apprentice: apprentice, Jobs: n + back, Mutual: true})
			}
		case n >= least && given[by] == n && taken[apprentice] == n:
			out = append(out, Pair{By: by, Apprentice: apprentice, Jobs: n})
		}
	}
	sort.Slice(out, func(i, j int) bool {
		return out[i].By < out[j].By || out[i].By == out[j].By && out[i].Apprentice < out[j].Apprentice
	})
	return out
}
