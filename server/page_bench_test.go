package server

import (
	"net/http"
	"net/http/httptest"
	"testing"

	"brakewright/store/storetest"
)

// benchPage measures one page, from the request to its last byte, for somebody who is logged in.
func benchPage(b *testing.B, path string, who func(*pageWorld) *storetest.Member) {
	w := newPageWorld(b, nil)
	m := who(w)
	c := w.as(m)
	cookies := c.client.Jar.Cookies(mustRequest(b, w.site.URL+"/").URL)
	b.ReportAllocs()
	for b.Loop() {
		r := httptest.NewRequest(http.MethodGet, path, nil)
		for _, k := range cookies {
			r.AddCookie(k)
		}
		rec := httptest.NewRecorder()
		w.server.ServeHTTP(rec, r)
		if rec.Code != http.StatusOK {
			b.Fatalf("%s: %d", path, rec.Code)
		}
	}
}

func mustRequest(t testing.TB, address string) *http.Request {
	t.Helper()
	r, err := http.NewRequest(http.MethodGet, address, nil)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func BenchmarkLessonPage(b *testing.B) {
	benchPage(b, "/lessons/master-cylinder-replace?vehicle=trainer-a", func(w *pageWorld) *storetest.Member { return w.Apprentices[0] })
}

func BenchmarkBoardPage(b *testing.B) {
	benchPage(b, "/board", func(w *pageWorld) *storetest.Member { return w.Coordinators[0] })
}
