package quiz

import (
	"math/big"
	"slices"
	"strconv"
	"strings"

	"brakewright/curriculum"
)

// pointFamily shows a drawing with numbers and asks where a part is.
var pointFamily = &family{
	info: FamilyInfo{ID: "point", Kinds: []Kind{Point}, Asks: "Where in the drawing is this part?", Source: "pictures: numbered parts"},
	items: func(s *subject) (out []*item) {
		for _, pic := range s.pictures() {
			for i, part := range pic.parts {
				element := pic.Element + "/" + part.Number
				p := proposal{kind: Point, stem: s.say(pointSayings, element, s.quote(part.text)), picture: pic.picture, inPlace: true, most: 99, lists: true,
					explanation: s.say(pointExplained, "", part.Number, part.text), tests: []string{element}, shows: []string{element}}
				for j, other := range pic.parts {
					c := choice{phrase: s.phrase(other.Number), element: pic.Element + "/" + other.Number, value: big.NewRat(int64(j), 1)}
					if j == i {
						p.right = []choice{c}
					} else {
						p.wrong = append(p.wrong, c)
					}
				}
				out = append(out, &item{element: element, line: part.Line, make: func(*draws) *proposal { copied := p; return &copied }})
			}
		}
		return out
	},
}

// partFamily shows a drawing with numbers and asks what one of them is.
var partFamily = &family{
	info: FamilyInfo{ID: "name-part", Kinds: []Kind{Single}, Asks: "What is the part with this number?", Source: "pictures: numbered parts"},
	items: func(s *subject) (out []*item) {
		for _, pic := range s.pictures() {
			var members []member
			for _, part := range pic.parts {
				element := pic.Element + "/" + part.Number
				members = append(members, member{choice: choice{phrase: s.phrase(part.text), element: element}, ask: asking{element: element, line: part.Line},
					stem: s.say(partSayings, element, part.Number), picture: pic.picture, explanation: s.say(pointExplained, "", part.Number, part.text),
					tests: []string{element}, shows: []string{element}, params: part.Number})
			}
			out = append(out, s.closedItems("parts of "+pic.Element, members, func(i, j int) bool { return false }, 3, 4)...)
		}
		return out
	},
}

var pointSayings = sayings{
	"en": {"Which number in the drawing marks this part: {1}?"},
	"es": {"¿Qué número del dibujo marca esta pieza: {1}?"},
}

var partSayings = sayings{
	"en": {"What is the part with the number {1} in the drawing?"},
	"es": {"¿Qué pieza lleva el número {1} en el dibujo?"},
}

var pointExplained = sayings{
	"en": {"In the drawing, {1} is: {2}."},
	"es": {"En el dibujo, {1} es: {2}."},
}

// numbered is a drawing whose parts have one name each.
type numbered struct {
	curriculum.LessonPicture
	picture *Picture
	parts   []namedPart
}

type namedPart struct {
	curriculum.PicturePart
	text string
}

// pictures are the drawings of which three or more numbered parts have a name of their own, numbers ascending.
func (s *subject) pictures() (out []numbered) {
	for _, pic := range s.lesson.Pictures {
		file := s.programme.Pictures[pic.Path]
		if file == nil || !s.car.Applies(pic.If) {
			continue
		}
		n := numbered{LessonPicture: pic, picture: &Picture{Path: pic.Path, Edition: file.Edition}}
		count := map[string]int{}
		for _, part := range pic.Parts {
			text := tidy(part.Part.For(s.car, ""))
			count[normal(text)]++
			n.parts = append(n.parts, namedPart{part, text})
		}
		var parts []namedPart
		for _, p := range n.parts {
			if count[normal(p.text)] == 1 && strings.TrimSpace(p.Number) != "" {
				parts = append(parts, p)
			}
		}
		if n.parts = parts; len(parts) < 3 {
			continue
		}
		sortByNumber(n.parts)
		out = append(out, n)
	}
	return out
}

func sortByNumber(parts []namedPart) {
	rank := func(p namedPart) int {
		n, err := strconv.Atoi(p.Number)
		if err != nil {
			return 1 << 30
		}
		return n
	}
	slices.SortStableFunc(parts, func(a, b namedPart) int {
		if d := rank(a) - rank(b); d != 0 {
			return d
		}
		return strings.Compare(a.Number, b.Number)
	})
}
