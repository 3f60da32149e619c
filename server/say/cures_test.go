package say

import "testing"

func TestEveryFaultHasACure(t *testing.T) {
	for code := range inputWords {
		if inputCures[code] == "" {
			t.Errorf("no cure for %s", code)
		}
	}
	for code := range policyWords {
		if policyCures[code] == "" && code != "policy_unknown_key_far" { // said as policy_unknown_key without a nearest key
			t.Errorf("no cure for %s", code)
		}
	}
}
