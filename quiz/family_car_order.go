package quiz

import (
	"strings"
)

// carOrderFamily asks in which order a car's wheels are gone round, where the lesson has a step that keeps to a named
// order of the sheet. Every pair is forced.
var carOrderFamily = &family{
	info: FamilyInfo{ID: "vehicle-order", Kinds: []Kind{Order}, Asks: "In which order are this car's wheels done?", Source: "the car's orders, as far as steps of the lesson go by them"},
	items: func(s *subject) (out []*item) {
		if s.car == nil {
			return nil
		}
		seen := map[string]bool{}
		for _, x := range s.steps {
			wheels := s.car.Orders[x.EachOrder]
			if x.EachOrder == "" || seen[x.EachOrder] || len(wheels) < 3 || len(wheels) > 8 {
				continue
			}
			seen[x.EachOrder] = true
			element := "order/" + x.EachOrder
			p := proposal{kind: Order, stem: s.say(carOrderSayings, element, s.car.Title, s.quote(x.title.text)), onCar: true,
				explanation: s.say(carOrderExplained, "", s.car.Title, strings.Join(wheels, ", ")), tests: []string{element}}
			for i, w := range wheels {
				p.right = append(p.right, choice{phrase: s.phrase(w), element: element, onCar: true})
				p.params += w + " "
				for j := range i {
					p.forced = append(p.forced, [2]int{j, i})
				}
			}
			out = append(out, &item{element: element, file: s.car.File, line: s.carLine(x.EachOrder), critical: x.Critical,
				make: func(*draws) *proposal { copied := p; return &copied }})
		}
		return out
	},
}

var carOrderSayings = sayings{
	"en": {"{1}: in which order do you go round the wheels for this step: {2}? First to last."},
	"es": {"{1}: ¿en qué orden recorres las ruedas para este paso: {2}? De la primera a la última."},
}

var carOrderExplained = sayings{
	"en": {"The sheet of {1} gives this order: {2}."},
	"es": {"La hoja de {1} da este orden: {2}."},
}
