package server

import "brakewright/curriculum"

// allUnits are the units of the lesson format, in its order.
var allUnits = []string{"mm", "cm", "m", "km", "in", "mm²", "cm²", "in²", "g", "kg", "lb", "oz", "N", "kN", "lbf", "N·m", "lbf·ft", "lbf·in", "Pa", "kPa", "MPa", "bar", "psi",
	"°C", "°F", "K", "mL", "L", "fl-oz", "qt", "mm²/s", "s", "min", "h", "day", "month", "year", "%", "°", "km/h", "mph", "m/s", "1/min", "V", "A"}

// unitsLike are the units that measure the same as u, u first; every unit where u says nothing.
func unitsLike(u curriculum.Unit) []string {
	if u == "" {
		return nil
	}
	want, ok := u.Dimension()
	if !ok {
		return []string{string(u)}
	}
	out := []string{string(u)}
	for _, x := range allUnits {
		if d, ok := curriculum.Unit(x).Dimension(); ok && d == want && x != string(u) {
			out = append(out, x)
		}
	}
	return out
}
