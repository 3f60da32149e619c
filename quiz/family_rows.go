package quiz

import (
	"slices"
	"strings"

	"brakewright/curriculum"
)

// The families of this file ask one cell of a table's row by another. A row is out as a source of wrong options when its
// asked-by cell resembles that of the row asked, or when its answer does: then its answer may be true as well.

// cell is one column of a table, as far as families ask it.
type cell struct {
	name string // as in elements
	text func(row int) curriculum.Text
}

// table of rows that apply, with what families need of each.
type rows struct {
	n   int
	row func(i int) curriculum.Row
}

func (s *subject) cautionRows() (rows, map[string]cell) {
	return rows{len(s.cautions), func(i int) curriculum.Row { return s.cautions[i].Row }}, map[string]cell{
		"hazard":      {"hazard", func(i int) curriculum.Text { return s.cautions[i].Hazard }},
		"consequence": {"consequence", func(i int) curriculum.Text { return s.cautions[i].Consequence }},
		"control":     {"control", func(i int) curriculum.Text { return s.cautions[i].Control }},
	}
}

func (s *subject) toolRows() (rows, map[string]cell) {
	return rows{len(s.tools), func(i int) curriculum.Row { return s.tools[i].Row }}, map[string]cell{
		"item":        {"item", func(i int) curriculum.Text { return s.tools[i].Item }},
		"use":         {"use", func(i int) curriculum.Text { return s.tools[i].Use }},
		"wrong-thing": {"wrong-thing", func(i int) curriculum.Text { return s.tools[i].WrongThing }},
		"wrong-harm":  {"wrong-harm", func(i int) curriculum.Text { return s.tools[i].WrongHarm }},
	}
}

func (s *subject) faultRows() (rows, map[string]cell) {
	return rows{len(s.faults), func(i int) curriculum.Row { return s.faults[i].Row }}, map[string]cell{
		"symptom": {"symptom", func(i int) curriculum.Text { return s.faults[i].Symptom }},
		"cause":   {"cause", func(i int) curriculum.Text { return s.faults[i].Cause }},
		"check":   {"check", func(i int) curriculum.Text { return s.faults[i].Check }},
	}
}

// rowItems makes an item for each row: given the cells named in given, which text of the cell asked belongs to them? Two
// rows that share or resemble a cell of kin never stand side by side, nor does what resembles the answer of such a row.
func (s *subject) rowItems(t rows, cells map[string]cell, given []string, asks string, kin []string, ask sayings) []*item {
	var members []member
	var row []int // of each member
	phrased := func(name string) []choice {
		out := make([]choice, t.n)
		for i := range t.n {
			out[i] = s.choice(t.row(i).Element+"/"+name, cells[name].text(i))
		}
		return out
	}
	answers := phrased(asks)
	columns := make([][]choice, len(given))
	for k, name := range given {
		columns[k] = phrased(name)
	}
	others := make([][]choice, len(kin))
	for k, name := range kin {
		others[k] = phrased(name)
	}
	for i := range t.n {
		element := t.row(i).Element
		m := member{choice: answers[i], ask: asking{label: asks, element: element + "/" + given[len(given)-1], line: t.row(i).Line}, tests: []string{element + "/" + asks}}
		args, whole := []string{}, answers[i].norm != ""
		for k := range given {
			c := columns[k][i]
			whole = whole && c.norm != ""
			m.carStem = m.carStem || c.onCar
			args, m.given = append(args, s.quote(c.text)), append(m.given, c.phrase)
		}
		if !whole {
			continue
		}
		m.stem, m.explanation = s.say(ask, element+"/"+asks, args...), s.rowQuote(rowTexts(cells, given, asks, i)...)
		members, row = append(members, m), append(row, i)
	}
	return s.closedItems(asks+" of "+strings.Join(given, " "), members, func(i, j int) bool {
		return slices.ContainsFunc(others, func(column []choice) bool { return alike(column[row[i]].phrase, column[row[j]].phrase, 1, 2) })
	}, 1, 3)
}

// rowQuote quotes cells of one row, side by side.
func (s *subject) rowQuote(ts ...curriculum.Text) string {
	parts := make([]string, len(ts))
	for i, t := range ts {
		parts[i], _ = s.words(t)
	}
	return s.quote(strings.Join(parts, " – "))
}

func rowTexts(cells map[string]cell, given []string, asked string, i int) (out []curriculum.Text) {
	for _, name := range given {
		out = append(out, cells[name].text(i))
	}
	return append(out, cells[asked].text(i))
}

// matchItems makes one item of a table: each text of one column belongs to one text of the other.
func (s *subject) matchItems(t rows, left, right cell, apart []cell, ask sayings) []*item {
	if t.n < 3 {
		return nil
	}
	all := proposal{kind: Match, stem: s.say(ask, right.name)}
	for i := range t.n {
		all.right = append(all.right, s.choice(t.row(i).Element+"/"+left.name, left.text(i)))
		all.targets = append(all.targets, s.choice(t.row(i).Element+"/"+right.name, right.text(i)))
	}
	parted := newBitsets(t.n) // rows that must not stand in one question
	for _, c := range apart {
		texts := make([]*phrase, t.n) // that must not resemble
		for i := range texts {
			texts[i] = s.choice("", c.text(i)).phrase
		}
		likenesses(texts, parted)
	}
	options, targets := newBitsets(t.n), newBitsets(t.n)
	likenesses(phrases(all.right), options)
	likenesses(phrases(all.targets), targets)
	for j := range t.n {
		for k := range t.n {
			if j != k && meets(options[j], targets[k]) { // some row gives j's option with k's target, or nearly
				parted[j].set(k)
				parted[k].set(j)
			}
		}
	}
	var out []*item
	for i := range t.n {
		out = append(out, &item{label: right.name, element: t.row(i).Element, line: t.row(i).Line, make: func(d *draws) *proposal {
			p := all
			p.right, p.targets = []choice{all.right[i]}, []choice{all.targets[i]}
			kept := []int{i}
		next:
			for _, j := range d.order(t.n) {
				for _, k := range kept {
					if j == k || parted[j].has(k) {
						continue next
					}
				}
				kept = append(kept, j)
				p.right, p.targets = append(p.right, all.right[j]), append(p.targets, all.targets[j])
			}
			for k := range p.right {
				p.tests = append(p.tests, p.targets[k].element)
			}
			p.explanation = s.rowQuote(left.text(i), right.text(i))
			return &p
		}})
	}
	return out
}

// likenesses marks in like[i] the other texts that resemble text i.
func likenesses(texts []*phrase, like []bitset) {
	for i, a := range texts {
		for j, b := range texts[:i] {
			if alike(a, b, 1, 2) {
				like[i].set(j)
				like[j].set(i)
			}
		}
	}
}
