package ledger

import (
	"reflect"
	"testing"
)

func TestPairsWhoOnlySignForEachOtherAreReported(t *testing.T) {
	for _, c := range []struct {
		name   string
		signed []SignedJobs
		want   []Pair
	}{
		{"nothing signed", nil, nil},
		{"too few jobs to say", []SignedJobs{{"sam", "pat", 2}}, nil},
		{"one signs for one only, who is signed by nobody else", []SignedJobs{{"sam", "pat", 3}, {"sue", "pia", 9}, {"sue", "pim", 1}}, []Pair{{"sam", "pat", 3, false}}},
		{"the supervisor signs for others, too", []SignedJobs{{"sam", "pat", 5}, {"sam", "pia", 1}}, nil},
		{"others sign for the apprentice, too", []SignedJobs{{"sam", "pat", 5}, {"sue", "pat", 1}, {"sue", "pia", 4}}, nil},
		{"each signs for the other", []SignedJobs{{"both", "pat", 2}, {"pat", "both", 2}}, []Pair{{"both", "pat", 4, true}}},
		{"each signs for the other, and one for a third", []SignedJobs{{"both", "pat", 2}, {"pat", "both", 2}, {"pat", "pia", 1}}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := Pairs(c.signed, 3); !reflect.DeepEqual(got, c.want) {
				t.Errorf("got %v, want %v", got, c.want)
			}
		})
	}
}
