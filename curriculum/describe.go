package curriculum

import (
	"slices"
	"strings"
)

// features is the union of all sheets' features, those of wheels included, sorted.
func (p *Programme) features() []string {
	seen := map[string]bool{}
	for _, v := range p.Vehicles {
		for _, f := range v.Features {
			seen[f] = true
		}
		for _, w := range v.Wheels {
			for _, f := range w.Features {
				seen[f] = true
			}
		}
	}
	return sortedKeys(seen)
}

// opposites are pairs of features of which a wheel has one, as disc and drum: every wheel of the programme's sheets has exactly
// one of the two, and both are met in the same company, as a rear disc and a rear drum are.
func (p *Programme) opposites() (out [][2]string) {
	company := map[string]map[string]bool{} // of a wheel's feature, those beside it
	var wheels []Wheel
	for _, v := range p.Vehicles {
		wheels = append(wheels, v.Wheels...)
	}
	for _, w := range wheels {
		for _, f := range w.Features {
			if company[f] == nil {
				company[f] = map[string]bool{}
			}
			for _, g := range w.Features {
				company[f][g] = true
			}
		}
	}
	all := sortedKeys(company)
	for i, a := range all {
		for _, b := range all[i+1:] {
			shared := slices.ContainsFunc(all, func(c string) bool { return company[a][c] && company[b][c] })
			split := !slices.ContainsFunc(wheels, func(w Wheel) bool { return contains(w.Features, a) == contains(w.Features, b) })
			if shared && split {
				out = append(out, [2]string{a, b})
			}
		}
	}
	return out
}

// Features lists the programme's features: the union of its sheets', those of single wheels included, sorted.
func (p *Programme) Features() []string { return p.features() }

// Layouts lists the layouts of the programme's sheets, sorted.
func (p *Programme) Layouts() []string {
	seen := map[string]bool{}
	for _, v := range p.Vehicles {
		seen[v.Layout] = true
	}
	return sortedKeys(seen)
}

// orderNames lists the names of the sheets' orders, sorted.
func (p *Programme) orderNames() []string {
	seen := map[string]bool{}
	for _, v := range p.Vehicles {
		for name := range v.Orders {
			seen[name] = true
		}
	}
	return sortedKeys(seen)
}

// sheetFigure finds the figure that the programme's sheets give a key; the first sheet by file that has it.
func (p *Programme) sheetFigure(key string) (Figure, bool) {
	for _, v := range p.Vehicles {
		if f, ok := v.Figure(key, ""); ok {
			return f, true
		}
	}
	return Figure{}, false
}

func (p *Programme) keys() []string {
	seen := map[string]bool{}
	for _, v := range p.Vehicles {
		for _, f := range v.Figures {
			seen[f.Key] = true
		}
	}
	return sortedKeys(seen)
}

// carChecker gathers the problems of a described car by field.
type carChecker struct{ problems []Problem }

func (c *carChecker) bad(field, code string, kv ...string) {
	c.problems = append(c.problems, Problem{Line: 1, Column: 1, Severity: Error, Code: code, Args: args(append(kv, "field", field)...)})
}

func (c *carChecker) known(field, code, name, value string, known []string) {
	if !contains(known, value) {
		c.bad(field, code, name, value, "nearest", nearestOf(value, known))
	}
}

// bare is the car as a vehicle, unchecked.
func (c Car) bare() *Vehicle {
	v := &Vehicle{Title: c.Title, Layout: c.Layout, Features: slices.Clone(c.Features), Orders: map[string][]string{}}
	for _, w := range c.Wheels {
		if len(v.Wheels) == maxWheels {
			break
		}
		v.Wheels = append(v.Wheels, Wheel{Name: w.Name, Features: slices.Clone(w.Features)})
	}
	for name, order := range c.Orders {
		for _, w := range order {
			if contains(v.wheelNames(), w) && !contains(v.Orders[name], w) {
				v.Orders[name] = append(v.Orders[name], w)
			}
		}
	}
	return v
}

func carVehicle(c Car, p *Programme) (*Vehicle, []Problem) {
	ch := &carChecker{}
	if strings.TrimSpace(c.Title) == "" {
		ch.bad("title", "car_missing")
	}
	switch {
	case c.Layout == "":
		ch.bad("layout", "car_missing")
	case len(p.Vehicles) > 0:
		ch.known("layout", "unknown_layout", "layout", c.Layout, p.Layouts())
	}
	for i, f := range c.Features {
		ch.known("features["+itoa(i)+"]", "unknown_feature", "feature", f, p.features())
	}
	v := c.bare()
	if len(c.Wheels) > maxWheels {
		ch.bad("wheels", "too_many_values", "name", "wheels", "limit", itoa(maxWheels))
	}
	seen := map[string]bool{}
	for i, w := range c.Wheels {
		field := "wheels[" + itoa(i) + "]"
		switch {
		case !isID(w.Name):
			ch.bad(field+".name", "bad_id", "id", w.Name, "like", likeID(w.Name))
		case seen[w.Name]:
			ch.bad(field+".name", "duplicate_entry", "key", "wheels", "value", w.Name)
		}
		seen[w.Name] = true
		for j, f := range w.Features {
			ch.known(field+".features["+itoa(j)+"]", "unknown_feature", "feature", f, p.features())
		}
		for _, o := range p.opposites() {
			if contains(w.Features, o[0]) && contains(w.Features, o[1]) {
				ch.bad("wheels", "wheel_contradicts", "one", o[0], "other", o[1], "wheel", w.Name)
			}
		}
	}
	for _, name := range sortedKeys(c.Orders) {
		field := "orders." + name
		ch.known(field, "unknown_order", "order", name, p.orderNames())
		seen := map[string]bool{}
		for _, w := range c.Orders[name] {
			if !contains(v.wheelNames(), w) {
				ch.bad(field, "unknown_wheel", "wheel", w, "nearest", nearestOf(w, v.wheelNames()))
			} else if seen[w] {
				ch.bad(field, "duplicate_entry", "key", field, "value", w)
			}
			seen[w] = true
		}
		for _, w := range v.wheelNames() {
			if !seen[w] {
				ch.bad(field, "order_leaves_out", "order", name, "wheel", w)
			}
		}
	}
	for i, f := range c.Figures {
		if fig, ok := ch.figure("figures["+itoa(i)+"]", f, p); ok {
			if _, double := v.Figure(fig.Key, ""); double {
				ch.bad("figures["+itoa(i)+"].key", "duplicate_id", "id", fig.Key)
				continue
			}
			v.Figures = append(v.Figures, fig)
		}
	}
	if len(ch.problems) > 0 {
		return nil, ch.problems
	}
	return v, nil
}

// figure checks a figure read from the maker's service information. Its limit is that of the programme's own sheets.
func (ch *carChecker) figure(field string, f CarFigure, p *Programme) (Figure, bool) {
	before := len(ch.problems)
	like, known := p.sheetFigure(f.Key)
	if !known {
		ch.bad(field+".key", "unknown_vehicle_key", "key", f.Key, "nearest", nearestOf(f.Key, p.keys()))
		return Figure{}, false
	}
	low, ok := normalDecimal(f.Value)
	if !ok {
		ch.bad(field+".value", "bad_decimal", "value", f.Value)
	}
	high := ""
	if f.High != "" {
		h, ok2 := normalDecimal(f.High)
		switch {
		case !ok2:
			ch.bad(field+".high", "bad_decimal", "value", f.High)
		case ok && mustDecimal(low).Cmp(mustDecimal(h)) > 0:
			ch.bad(field+".high", "range_reversed", "value", f.Value+"–"+f.High)
		}
		high = h
	}
	switch _, known := dimensionOf(f.Unit); {
	case !known:
		ch.bad(field+".unit", "unknown_unit", "unit", string(f.Unit), "nearest", orNone(nearestUnit(string(f.Unit))))
	case !sameDimension(f.Unit, like.Unit):
		ch.bad(field+".unit", "unit_mismatch", "name", f.Key, "unit", string(f.Unit), "other", string(like.Unit))
	}
	limit := like.Limit
	if f.Limit != "" && f.Limit != limit {
		ch.bad(field+".limit", "limit_differs", "key", f.Key, "limit", string(f.Limit), "other", orNone(string(limit)))
	}
	if limit == Range && f.High == "" || (limit == Minimum || limit == Maximum) && f.High != "" {
		ch.bad(field+".value", "limit_mismatch", "limit", string(limit), "value", f.Value)
	}
	if strings.TrimSpace(f.Source) == "" {
		ch.bad(field+".source", "car_missing")
	}
	return Figure{Row: Row{Element: "vehicle/" + f.Key, Line: 1}, Key: f.Key, Quantity: like.Quantity, Value: low, High: high, Unit: f.Unit, Language: like.Language,
		Limit: limit, Source: Text{Parts: []TextPart{{Text: strings.TrimSpace(f.Source)}}, Line: 1}}, len(ch.problems) == before
}

func needed(p *Programme, lessons []string, c Car) (out []CarFigure) {
	v := c.bare()
	seen := map[string]bool{}
	add := func(key, axle string) {
		keys := []string{key}
		if strings.Contains(key, "{axle}") {
			axles := []string{axle}
			if axle == "" {
				axles = []string{"front", "rear"}
			}
			keys = nil
			for _, a := range axles {
				keys = append(keys, strings.ReplaceAll(key, "{axle}", a))
			}
		}
		for _, k := range keys {
			f, ok := p.sheetFigure(k)
			if !ok || seen[k] {
				continue
			}
			seen[k] = true
			out = append(out, CarFigure{Key: k, Unit: f.Unit, Limit: f.Limit})
		}
	}
	for _, id := range lessons {
		l := p.Lesson(id, "")
		if l == nil {
			continue
		}
		sheet := l.Sheet(v)
		if sheet == nil {
			continue
		}
		for _, ss := range sheet.Steps {
			for s := ss.Step; s != nil; s = s.Parent {
				for _, key := range s.keys() {
					add(key, ss.Axle)
				}
			}
		}
	}
	return out
}

// keys lists the vehicle keys that a step measures or shows, its sub-steps aside.
func (s *Step) keys() (out []string) {
	for _, t := range s.texts() {
		for _, p := range t.Parts {
			if p.Key != "" {
				out = append(out, p.Key)
			}
		}
	}
	return append(out, s.shownKeys...)
}

// texts lists everything a step says in its title and points.
func (s *Step) texts() (out []Text) {
	out = append(out, s.Title)
	for _, ts := range [][]Text{s.Why, s.IfSkipped, s.IfWrong, s.Check} {
		out = append(out, ts...)
	}
	for _, m := range s.Measures {
		out = append(out, m.Text)
	}
	return out
}
