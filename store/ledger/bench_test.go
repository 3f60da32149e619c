package ledger

import "testing"

// BenchmarkParse reads a sign-off of 20 steps strictly.
func BenchmarkParse(b *testing.B) {
	h := found(b)
	h.do(h.signOff("sam", "pat", func(_ *act, p *SignOffPayload) {
		p.Steps = nil
		for i := range 20 {
			p.Steps = append(p.Steps, StepDone{Step: "bleed/s" + string(rune('a'+i)), Result: "unaided", At: h.now - 500})
		}
	}))
	leaf := h.leaves[len(h.leaves)-1]
	b.SetBytes(int64(len(leaf)))
	for b.Loop() {
		if _, err := Parse(leaf); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkCheck judges it: the signature and all rules.
func BenchmarkCheck(b *testing.B) {
	h := found(b)
	p, err := h.judge(h.submit(h.signOff("sam", "pat", nil)))
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if err := Check(p, h.state); err != nil {
			b.Fatal(err)
		}
	}
}
