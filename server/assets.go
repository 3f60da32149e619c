package server

import (
	"net/http"

	"github.com/gorilla/mux"

	"brakewright/server/acts"
)

func (s *Server) registerAssetRoutes(r *mux.Router) {
	s.openGet(r, "/static/{name}", s.showAsset)
	s.openGet(r, "/favicon.ico", s.showFavicon)
	s.get(r, "/pictures/{edition}/{path:.+}", s.showPicture)
}

func (s *Server) showAsset(w http.ResponseWriter, r *http.Request) error {
	if !s.assets.Serve(w, r, mux.Vars(r)["name"]) {
		return failure{status: http.StatusNotFound, code: "page_not_found"}
	}
	return nil
}

func (s *Server) showFavicon(w http.ResponseWriter, r *http.Request) error {
	s.assets.Serve(w, r, "icon.svg")
	return nil
}

// picturePolicy keeps a drawing, opened by itself, from loading or running anything.
const picturePolicy = "default-src 'none'; style-src 'unsafe-inline'; sandbox"

// showPicture answers with a drawing of the programme in the edition that a page named.
func (s *Server) showPicture(w http.ResponseWriter, r *http.Request) error {
	v := mux.Vars(r)
	b, err := s.picture(r, v["path"], v["edition"])
	if err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Security-Policy", picturePolicy)
	h.Set("Content-Type", "image/svg+xml; charset=utf-8")
	h.Set("Cache-Control", "private, max-age=31536000, immutable")
	_, err = w.Write(b)
	return err
}

// picture finds a drawing in the edition in use or, for a test issued earlier, in an older one; for whoever sees drafts, in those.
func (s *Server) picture(r *http.Request, path, edition string) ([]byte, error) {
	p, err := s.acts.Programme(r.Context())
	if err != nil {
		return nil, err
	}
	if pic, ok := p.Pictures[path]; ok && pic.Edition == edition {
		return pic.Bytes, nil
	}
	adopted, err := s.store.Adoptions(r.Context())
	if err != nil {
		return nil, err
	}
	for i := len(adopted) - 1; i >= 0; i-- {
		old, err := s.store.Programme(r.Context(), adopted[i].Edition)
		if err != nil {
			return nil, err
		}
		if b, ok := old.Files[path]; ok && isSVG(path) && hexHash(b) == edition {
			return b, nil
		}
	}
	b, err := s.acts.DraftPicture(r.Context(), personFrom(r.Context()), path, edition)
	if _, refused := acts.AsRefusal(err); refused {
		err = failure{status: http.StatusNotFound, code: "page_not_found"}
	}
	return b, err
}
