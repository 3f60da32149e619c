package readiness

import (
	"encoding/json"
	"maps"
	"slices"
	"strconv"
)

// JSON is the verdict as one line of `assess --format jsonl`, without the line end: keys in the order of the contract,
// numbers with at most three decimals. With explain, gates have their args and reasons and next follow.
func (v Verdict) JSON(explain bool) []byte {
	b := make([]byte, 0, 1024)
	b = appendField(b, '{', "apprentice", v.Apprentice)
	b = appendField(b, ',', "task", v.Task)
	b = appendField(b, ',', "as_of", v.AsOf)
	b = appendNumber(b, "probability", v.Probability)
	b = appendNumber(b, "low", v.Low)
	b = appendNumber(b, "high", v.High)
	b = appendNumber(b, "confidence", v.Confidence)
	b = append(b, `,"gates":[`...)
	for i, g := range v.Gates {
		if i > 0 {
			b = append(b, ',')
		}
		b = appendField(b, '{', "gate", g.Gate)
		b = strconv.AppendBool(append(b, `,"ok":`...), g.OK)
		b = appendField(b, ',', "why", g.Why)
		if explain {
			b = appendArgs(b, g.Args)
			b = appendIDs(b, g.Evidence)
		}
		b = append(b, '}')
	}
	b = strconv.AppendBool(append(b, `],"ready":`...), v.Ready)
	b = appendField(b, ',', "standing", string(v.Standing))
	b = appendField(b, ',', "parameters", v.Parameters)
	if explain {
		b = appendReasons(b, "reasons", v.Reasons)
		b = appendReasons(b, "next", v.Next)
	}
	return append(b, '}')
}

func appendField(b []byte, before byte, key, value string) []byte {
	b = append(b, before)
	b = appendString(b, key)
	b = append(b, ':')
	return appendString(b, value)
}

func appendString(b []byte, s string) []byte {
	q, err := json.Marshal(s)
	if err != nil {
		panic("readiness: a string to JSON: " + err.Error())
	}
	return append(b, q...)
}

func appendNumber(b []byte, key string, x float64) []byte {
	b = append(b, ',')
	b = appendString(b, key)
	b = append(b, ':')
	return strconv.AppendFloat(b, x, 'f', -1, 64)
}

func appendArgs(b []byte, args map[string]string) []byte {
	b = append(b, `,"args":{`...)
	for i, k := range slices.Sorted(maps.Keys(args)) {
		before := byte(',')
		if i == 0 {
			b = appendString(b, k)
			b = append(b, ':')
			b = appendString(b, args[k])
			continue
		}
		b = appendField(b, before, k, args[k])
	}
	return append(b, '}')
}

func appendReasons(b []byte, key string, reasons []Reason) []byte {
	b = append(b, ',')
	b = appendString(b, key)
	b = append(b, ":["...)
	for i, r := range reasons {
		before := `,{"code":`
		if i == 0 {
			before = before[1:]
		}
		b = append(b, before...)
		b = appendString(b, r.Code)
		b = appendArgs(b, r.Args)
		b = appendField(b, ',', "text", r.Text)
		b = append(appendIDs(b, r.Evidence), '}')
	}
	return append(b, ']')
}

// appendIDs writes what a gate or reason rests on; nothing if it rests on nothing that has an id.
func appendIDs(b []byte, ids []string) []byte {
	if len(ids) == 0 {
		return b
	}
	b = append(b, `,"evidence":[`...)
	for i, id := range ids {
		if i > 0 {
			b = append(b, ',')
		}
		b = appendString(b, id)
	}
	return append(b, ']')
}
