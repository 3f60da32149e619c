package server

import (
	"strings"
	"testing"
)

// TestAPISaysWhatIsWrongWithABody: the place, what must be there and what came.
func TestAPISaysWhatIsWrongWithABody(t *testing.T) {
	type inner struct {
		N    int      `json:"n"`
		List []string `json:"list"`
	}
	var in struct {
		Name string `json:"name"`
		On   bool   `json:"on"`
		Deep *inner `json:"deep"`
	}
	for _, r := range []struct{ body, want string }{
		{`[]`, "The body must be an object, not a list."},
		{`7`, "The body must be an object, not a number."},
		{`{"name":1}`, "The field name must be a text in quotation marks, not a number."},
		{`{"name":{}}`, "The field name must be a text in quotation marks, not an object."},
		{`{"on":"yes"}`, "The field on must be true or false, not a text."},
		{`{"deep":{"list":"a"}}`, "The field deep.list must be a list, not a text."},
		{`{"deep":{"n":1.5}}`, "The field deep.n must be a whole number that fits 64 bits, not 1.5."},
		{`{"deep":{"n":1e309}}`, "The field deep.n must be a whole number that fits 64 bits, not 1e309."},
		{`{"deep":true}`, "The field deep must be an object, not true or false."},
		{"{\"name\":\"caf\xe9\"}", "The body is not UTF-8."},
		{`{"name":"a"} {}`, "Something follows the JSON value."},
		{`{"name":"a","name":"b"}`, `The field "name" stands twice.`},
		{`{"Name":"a"}`, `There is no field "Name" here.`},
		{``, "The body is not JSON: EOF."},
	} {
		err := decodeStrict([]byte(r.body), &in)
		if err == nil || !strings.Contains(failureOf(err).text, r.want) || failureOf(err).status != 400 {
			t.Errorf("%s: got %v, %q; want %q", r.body, err, failureOf(err).text, r.want)
		}
	}
}
