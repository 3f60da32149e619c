package curriculum

import (
	"slices"
	"strings"
	"testing"
)

func goodCar() Car {
	return Car{Title: "Grey saloon", Layout: "split", Features: []string{"abs"},
		Wheels: []CarWheel{{"LF", []string{"front", "disc"}}, {"RF", []string{"front", "disc"}}, {"LR", []string{"rear", "drum"}}, {"RR", nil}},
		Orders: map[string][]string{"bleed": {"RR", "LR", "RF", "LF"}},
		Figures: []CarFigure{{Key: "nut.torque", Value: "90", Unit: "lbf·ft", Source: "maker, page 12"},
			{Key: "rotor.front.minimum", Value: "22", Unit: "mm", Limit: Minimum, Source: "cast on the rotor"},
			{Key: "rod.clearance", Value: "0.1", High: "0.3", Unit: "mm", Source: "maker"}}}
}

// TestWheelContradicts: what the sheets show as one or the other at the same place cannot both be at a wheel; what only happens
// never to meet, as a front wheel and a drum, may.
func TestWheelContradicts(t *testing.T) {
	four := func(front, rear string) []Wheel {
		return []Wheel{{Name: "LF", Features: []string{"front", front}}, {Name: "LR", Features: []string{"rear", rear}}}
	}
	both := &Programme{Vehicles: []*Vehicle{{Layout: "split", Wheels: four("disc", "disc")}, {Layout: "split", Wheels: four("disc", "drum")}}}
	one := &Programme{Vehicles: both.Vehicles[1:]}
	for _, tt := range []struct {
		p    *Programme
		has  []string
		want int
	}{
		{both, []string{"rear", "disc"}, 0}, {both, []string{"rear", "disc", "drum"}, 1}, {both, []string{"front", "rear", "disc"}, 1},
		{both, []string{"front", "rear", "disc", "drum"}, 2}, {both, []string{"front", "drum"}, 0}, {both, nil, 0},
		{one, []string{"front", "drum"}, 0}, {one, []string{"front", "disc", "drum"}, 0},
	} {
		_, problems := Car{Title: "Grey saloon", Layout: "split", Wheels: []CarWheel{{"LR", tt.has}}}.Vehicle(tt.p)
		if len(problems) != tt.want {
			t.Errorf("%v: %s", tt.has, shows(problems))
		}
		for _, x := range problems {
			if x.Code != "wheel_contradicts" || x.Args["wheel"] != "LR" || x.Args["field"] != "wheels" {
				t.Errorf("%v: %s", tt.has, shows(problems))
			}
		}
	}
}

func TestCarVehicle(t *testing.T) {
	p := mustLoad(t, testFolder(nil))
	v, problems := goodCar().Vehicle(p)
	if v == nil || len(problems) > 0 {
		t.Fatalf("got %s", shows(problems))
	}
	if f, ok := v.Figure("rotor.{axle}.minimum", "front"); !ok || f.Limit != Minimum || f.Quantity.Plain() != "Front rotor" {
		t.Errorf("got %+v, %v", f, ok)
	}
	if f, _ := v.Figure("rod.clearance", ""); f.Limit != Range || f.String() != "0.1–0.3 mm" {
		t.Errorf("got %+v", f)
	}
	if v.Axle("RR") != "rear" || v.Axle("LF") != "front" || v.Axle("spare") != "" {
		t.Error("axles")
	}
	tests := []struct {
		field, code string
		change      func(*Car)
	}{
		{"title", "car_missing", func(c *Car) { c.Title = " " }},
		{"layout", "car_missing", func(c *Car) { c.Layout = "" }},
		{"layout", "unknown_layout", func(c *Car) { c.Layout = "spilt" }},
		{"features[0]", "unknown_feature", func(c *Car) { c.Features = []string{"abss"} }},
		{"wheels[0].name", "bad_id", func(c *Car) { c.Wheels[0].Name = "L F"; c.Orders = nil }},
		{"wheels[1].name", "duplicate_entry", func(c *Car) { c.Wheels[1].Name = "LF"; c.Orders = nil }},
		{"wheels[0].features[1]", "unknown_feature", func(c *Car) { c.Wheels[0].Features = []string{"front", "disk"} }},
		{"orders.bleed", "unknown_wheel", func(c *Car) { c.Orders["bleed"] = []string{"RR", "LR", "RF", "LF", "XX"} }},
		{"orders.bleed", "order_leaves_out", func(c *Car) { c.Orders["bleed"] = []string{"RR", "LR", "RF"} }},
		{"orders.bleed", "duplicate_entry", func(c *Car) { c.Orders["bleed"] = []string{"RR", "LR", "RF", "LF", "RR"} }},
		{"orders.blead", "unknown_order", func(c *Car) { c.Orders = map[string][]string{"blead": {"RR", "LR", "RF", "LF"}} }},
		{"figures[0].key", "unknown_vehicle_key", func(c *Car) { c.Figures[0].Key = "nut.tork" }},
		{"figures[0].value", "bad_decimal", func(c *Car) { c.Figures[0].Value = "90,5" }},
		{"figures[0].unit", "unknown_unit", func(c *Car) { c.Figures[0].Unit = "Nm" }},
		{"figures[0].unit", "unit_mismatch", func(c *Car) { c.Figures[0].Unit = "mm" }},
		{"figures[1].limit", "limit_differs", func(c *Car) { c.Figures[1].Limit = Maximum }},
		{"figures[2].value", "limit_mismatch", func(c *Car) { c.Figures[2].High = "" }},
		{"figures[2].high", "range_reversed", func(c *Car) { c.Figures[2].High = "0.05" }},
		{"figures[2].high", "bad_decimal", func(c *Car) { c.Figures[2].High = "x" }},
		{"figures[0].source", "car_missing", func(c *Car) { c.Figures[0].Source = "" }},
		{"figures[1].key", "duplicate_id", func(c *Car) { c.Figures[1] = c.Figures[0] }},
		{"wheels", "too_many_values", func(c *Car) {
			for range 20 {
				c.Wheels = append(c.Wheels, CarWheel{Name: "W" + itoa(len(c.Wheels))})
			}
			c.Orders = nil
		}},
	}
	codes := map[string]CodeInfo{}
	for _, c := range Codes() {
		codes[c.Code] = c
	}
	for _, tt := range tests {
		t.Run(tt.code+" "+tt.field, func(t *testing.T) {
			c := goodCar()
			tt.change(&c)
			v, problems := c.Vehicle(p)
			if v != nil {
				t.Error("a vehicle beside problems")
			}
			i := slices.IndexFunc(problems, func(x Problem) bool { return x.Code == tt.code && x.Args["field"] == tt.field })
			if i < 0 {
				t.Fatalf("got %s", shows(problems))
			}
			for _, a := range codes[tt.code].Args {
				if _, ok := problems[i].Args[a]; !ok {
					t.Errorf("no argument %s", a)
				}
			}
		})
	}
}

// TestCarNeverPanics gives the programme cars that hold nothing or nonsense.
func TestCarNeverPanics(t *testing.T) {
	p := exampleProgramme(t)
	for _, c := range []Car{{}, {Wheels: []CarWheel{{}, {}}}, {Orders: map[string][]string{"": {""}}}, {Figures: []CarFigure{{}}}, {Wheels: []CarWheel{{Name: "LF"}}, Orders: map[string][]string{"service": {"LF", "LF"}}}} {
		if v, problems := c.Vehicle(p); v != nil || len(problems) == 0 {
			t.Errorf("%+v is let through", c)
		}
		p.Needed([]string{"repack-hubs", "nowhere"}, c)
	}
}

func TestNeeded(t *testing.T) {
	p := exampleProgramme(t)
	keys := func(c Car) string {
		var out []string
		for _, f := range p.Needed([]string{"make-safe", "repack-hubs"}, c) {
			out = append(out, strings.TrimSpace(f.Key+" "+string(f.Unit)+" "+string(f.Limit)))
		}
		return strings.Join(out, ", ")
	}
	two := []CarWheel{{"LF", []string{"front", "disc"}}, {"RR", []string{"rear", "drum"}}}
	if got, want := keys(Car{Wheels: two}), "rotor.front.minimum mm minimum, rotor.runout mm maximum, nut.torque lbf·ft"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	if got, want := keys(Car{Wheels: []CarWheel{{"LR", nil}}}), "nut.torque lbf·ft"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

func TestCheckSVG(t *testing.T) {
	svg := func(inside string) string { return `<svg xmlns="http://www.w3.org/2000/svg">` + inside + `</svg>` }
	numbers, err := CheckSVG([]byte(svg(`<g class="x callout y"><circle r="1"/><text><tspan>1</tspan></text></g><g class="callout"><g><text> 12b </text></g></g><g class="callouts"><text>3</text></g><text>4</text>`)))
	if err != nil || !slices.Equal(numbers, []string{"1", "12b"}) {
		t.Errorf("got %v, %v", numbers, err)
	}
	for _, good := range []string{"", `<use href="#a"/>`, `<rect fill="url(#a)" style="fill:url('#b')"/>`, `<style>.a{fill:red}</style>`, `<!-- note --><title>a</title>`,
		`<use xmlns:xlink="http://www.w3.org/1999/xlink" xlink:href="#a"/>`, `<d:meta xmlns:d="http://example.org/drawing" d:x="1"/>`} {
		if good == `<d:meta xmlns:d="http://example.org/drawing" d:x="1"/>` {
			good = `<d:grid xmlns:d="http://example.org/drawing" d:x="1"/>`
		}
		if _, err := CheckSVG([]byte(svg(good))); err != nil {
			t.Errorf("%s: %v", good, err)
		}
	}
	for bad, code := range map[string]string{
		svg(`<script>x</script>`): "svg_refused",
		svg(`<SCRIPT/>`):          "svg_refused",
		svg(`<x:script xmlns:x="http://www.w3.org/2000/svg"/>`):      "svg_refused",
		svg(`<foreignObject/>`):                                      "svg_refused",
		svg(`<image href="data:image/png;base64,x"/>`):               "svg_refused",
		svg(`<a href="#x"/>`):                                        "svg_refused",
		svg(`<animate attributeName="href" values="javascript:x"/>`): "svg_refused",
		svg(`<set/>`): "svg_refused",
		svg(`<h:b xmlns:h="http://www.w3.org/1999/xhtml"/>`): "svg_refused",
		svg(`<b xmlns=""/>`):    "svg_refused",
		svg(`<g onclick="x"/>`): "svg_handler",
		svg(`<g ONLOAD="x"/>`):  "svg_handler",
		svg(`<g xmlns:e="http://www.w3.org/2001/xml-events" e:onclick="x"/>`):       "svg_handler",
		svg(`<use href="https://example.org/a#b"/>`):                                "svg_outside",
		svg(`<use xmlns:xlink="http://www.w3.org/1999/xlink" xlink:href="a.svg"/>`): "svg_outside",
		svg(`<rect fill="url(https://example.org)"/>`):                              "svg_outside",
		svg(`<rect fill="u&#x72;l(x)"/>`):                                           "svg_outside",
		svg(`<rect style="fill: URL( 'x' )"/>`):                                     "svg_outside",
		svg(`<rect style="background:u\rl(x)"/>`):                                   "svg_outside",
		svg(`<style>@import "x.css";</style>`):                                      "svg_outside",
		svg(`<style><![CDATA[a{b:url(//x)}]]></style>`):                             "svg_outside",
		svg(`<style>@im<!-- -->port "//x";</style>`):                                "svg_outside",
		svg(`<style>a{fill:u<![CDATA[rl(//x)]]>}</style>`):                          "svg_outside",
		svg(`<style><style/>@import "//x";</style>`):                                "svg_outside",
		svg(`<use href="&#xA0;#a"/>`):                                               "svg_outside",
		svg(`<g xml:base="https://example.org"/>`):                                  "svg_outside",
		svg(`<g class="callout"/>`):                                                 "svg_callout",
		svg(`<g class="callout"><text> </text></g>`):                                "svg_callout",
		svg(`<g class="callout"><g class="callout"><text>1</text></g></g>`):         "svg_callout",
		`<!DOCTYPE svg [<!ENTITY a "b">]>` + svg(`&a;`):                             "svg_doctype",
		`<?xml-stylesheet href="x.css"?>` + svg(``):                                 "svg_refused",
		`<?xml version="1.0" encoding="ISO-8859-1"?>` + svg(``):                     "svg_unreadable",
		svg(`&nbsp;`):         "svg_unreadable",
		svg(``) + svg(``):     "svg_unreadable",
		`<svg/>`:              "svg_unreadable",
		`<html/>`:             "svg_unreadable",
		``:                    "svg_unreadable",
		`text`:                "svg_unreadable",
		svg(`<g>`):            "svg_unreadable",
		svg(`<g a="1"a="2">`): "svg_unreadable",
	} {
		numbers, err := CheckSVG([]byte(bad))
		se, ok := err.(*SVGError)
		if !ok || se.Code != code || numbers != nil {
			t.Errorf("%s: got %v, %v; want %s", bad, numbers, err, code)
		}
	}
}
