package acts

import (
	"context"
	"encoding/base64"
	"slices"
	"strconv"
	"strings"

	"brakewright/store"
	"brakewright/store/ledger"
)

// mostPhotos bounds the photographs of one job.
const mostPhotos = 12

func (s *Service) addPhoto(ctx context.Context, actor *store.Person, job, tap, step string, picture []byte) (*JobSheet, error) {
	j, apprentice, err := s.theJob(ctx, job)
	if err != nil {
		return nil, err
	}
	if tap == "" {
		if tap, err = s.newID(); err != nil {
			return nil, err
		}
	}
	if !ledger.ValidID(tap) {
		return nil, wrong("id", "bad_id", "id", tap)
	}
	taps, err := s.Store.Taps(ctx, job)
	if err != nil {
		return nil, err
	}
	t := store.Tap{ID: tap, Job: job, By: actor.ID, At: s.tapTime(0, j), Step: step}
	if err := s.mayTap(ctx, actor, j, apprentice, taps, []store.Tap{t}); err != nil {
		return nil, err
	}
	if slices.ContainsFunc(taps, func(x store.Tap) bool { return x.ID == tap }) {
		return s.jobSheetOf(ctx, job, apprentice) // sent again
	}
	if err := openJob(j); err != nil {
		return nil, err
	}
	sh, err := s.sheet(ctx, j, apprentice, taps)
	if err != nil {
		return nil, err
	}
	switch {
	case step != "" && sh.step(step) == nil:
		return nil, wrong("step", "unknown_step", "step", step)
	case len(picture) == 0:
		return nil, wrong("photo", "photo_needed")
	case len(sh.Photos) >= mostPhotos:
		return nil, wrong("photo", "too_many_photos", "most", strconv.Itoa(mostPhotos))
	}
	k, err := keepPicture(ctx, picture)
	if err != nil {
		return nil, err
	}
	t.Photo = &store.TapPhoto{Width: k.width, Height: k.height}
	if err := s.Store.AddPhoto(ctx, job, t, k.jpeg); err != nil {
		return nil, jobConflict(err)
	}
	return s.jobSheetOf(ctx, job, apprentice)
}

// photo is a photograph's bytes: by its tap while the job is a draft, by its field once it is signed.
func (s *Service) photo(ctx context.Context, actor *store.Person, job, name string) ([]byte, error) {
	sh, err := s.jobSheet(ctx, actor, job)
	if err != nil {
		return nil, err
	}
	if sh.Job.SignOff == "" {
		b, err := s.Store.Photo(ctx, job, name)
		return b, missing(err, "photograph")
	}
	field := "photo/" + strings.TrimPrefix(name, "photo/")
	for i, t := range sh.Photos {
		if t.ID == name { // the address that it had before it was signed
			field = "photo/" + strconv.Itoa(i+1)
		}
	}
	text, err := s.Store.PersonalField(ctx, sh.Job.SignOff, field)
	if err != nil {
		return nil, missing(err, "photograph")
	}
	b, err := base64.StdEncoding.DecodeString(text)
	if err != nil {
		return nil, missing(store.ErrNotFound, "photograph")
	}
	return b, nil
}
