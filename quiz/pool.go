package quiz

import (
	"slices"
	"strings"
	"sync"

	"brakewright/curriculum"
)

// pool is everything that one lesson can be asked in one language, for one car or none: only items of which the guards
// let at least one question through. It is immutable and may be shared.
type pool struct {
	subject *subject
	items   []*item // by family in table order, then in the lesson's order
	index   *poolIndex
}

// poolKey names a pool. Equal keys have equal pools, for the edition is the hash of the programme's content.
type poolKey struct{ edition, lesson, vehicle, language string }

// pools keeps the pools built so far. It is a cache only: what comes out never depends on what is in it. maxPools bounds
// it; a programme with more lessons × cars × languages than that builds some pools again.
var pools = struct {
	sync.Mutex
	m map[poolKey]*pool
}{m: map[poolKey]*pool{}}

const maxPools = 256

// poolOf returns the pool of a lesson, building it the first time. A programme without an edition is not cached.
// vehicle is the id of a sheet or ""; the sheet is taken in the lesson's language where there is one.
func poolOf(p *curriculum.Programme, l *curriculum.Lesson, vehicle string) *pool {
	var car *curriculum.Vehicle
	if vehicle != "" {
		car = p.VehicleIn(vehicle, l.Language)
	}
	if p.Edition == "" {
		return newPool(p, l, car)
	}
	k := poolKey{p.Edition, l.ID, vehicle, l.Language}
	pools.Lock()
	got := pools.m[k]
	pools.Unlock()
	if got != nil {
		return got
	}
	got = newPool(p, l, car)
	pools.Lock()
	defer pools.Unlock()
	if len(pools.m) >= maxPools {
		clear(pools.m)
	}
	pools.m[k] = got
	return got
}

func newPool(p *curriculum.Programme, l *curriculum.Lesson, car *curriculum.Vehicle) *pool {
	out := &pool{subject: newSubject(p, l, car)}
	base := out.subject.key()
	for _, f := range table {
		for _, it := range f.items(out.subject) {
			it.family, it.subject = f, out.subject
			if it.sure || it.possible(base.sub(it.name())) {
				out.items = append(out.items, it)
			}
		}
	}
	out.subject.phrases, out.subject.roots = nil, nil
	out.index = newIndex(out)
	return out
}

// covers says whether the item asks a step: the step itself or a point of it.
func (it *item) covers(s *curriculum.Step) bool {
	rest, ok := strings.CutPrefix(it.element, s.Element)
	return ok && (rest == "" || rest[0] == '/')
}

// critical lists the critical steps that apply: those without sub-steps, and those whose sub-steps none is critical.
func (p *pool) critical() (out []*step) {
	for _, x := range p.subject.steps {
		if x.Critical && (x.leaf >= 0 || !slices.ContainsFunc(p.subject.leaves, func(y *step) bool { return y.Critical && relatives(x.Step, y.Step) })) {
			out = append(out, x)
		}
	}
	return out
}

// YieldRow says how much a lesson yields for one car.
type YieldRow struct {
	Lesson    string         `json:"lesson"`
	Vehicle   string         `json:"vehicle"`  // "" without a car
	Families  map[string]int `json:"families"` // family → what can be asked: source elements, each in its variants; all families, also those with none
	Questions int            `json:"questions"`
	Unreached []string       `json:"unreached"` // critical steps ("LESSON/STEP") that no question asks
}

// everMade tries an item that a pool took untried: a place beside a limit may be one at which no reading can be drawn.
func (it *item) everMade() bool {
	base := it.subject.key("yield", it.name())
	return slices.ContainsFunc([]string{"1", "2", "3", "4"}, func(n string) bool { return it.possible(base.sub(n)) })
}

// Yield says what each lesson of the original language yields, without a car and for each vehicle sheet, in the
// programme's order.
func Yield(p *curriculum.Programme) []YieldRow {
	var out []YieldRow
	for _, l := range p.Lessons {
		vehicles := []string{""}
		for _, v := range p.Vehicles {
			vehicles = append(vehicles, v.ID)
		}
		for _, vehicle := range vehicles {
			pool := poolOf(p, l, vehicle)
			items := slices.DeleteFunc(slices.Clone(pool.items), func(it *item) bool { return it.sure && !it.everMade() })
			row := YieldRow{Lesson: l.ID, Vehicle: vehicle, Families: map[string]int{}, Questions: len(items), Unreached: []string{}}
			for _, f := range table {
				row.Families[f.info.ID] = 0
			}
			for _, it := range items {
				row.Families[it.family.info.ID]++
			}
			for _, x := range pool.critical() {
				if !slices.ContainsFunc(items, func(it *item) bool { return it.covers(x.Step) }) {
					row.Unreached = append(row.Unreached, l.ID+"/"+x.ID)
				}
			}
			out = append(out, row)
		}
	}
	return out
}
