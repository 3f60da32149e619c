package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"
	"strings"
	"time"
)

// witnessTime bounds one post to a witness.
const witnessTime = 10 * time.Second

// witnesses are those that serve was told of. A failure is logged, and the witness is asked again later.
func (s *serving) witnesses(log *slog.Logger) ([]func(string) error, error) {
	logged := func(where string, tell func(string) error) func(string) error {
		return func(note string) error {
			err := tell(note)
			if err != nil {
				log.Warn("a witness could not be told of a head", "witness", where, "error", err.Error())
			}
			return err
		}
	}
	var all []func(string) error
	if s.witnessFile != "" {
		f, err := os.OpenFile(s.witnessFile, os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o644)
		if err != nil {
			return nil, failf("Choose a file that can be written to.", "the witness file cannot be used: %w", err)
		}
		f.Close()
		all = append(all, logged(s.witnessFile, func(note string) error { return appendHead(s.witnessFile, note) }))
	}
	if s.witnessURL != "" {
		client := &http.Client{Timeout: witnessTime}
		all = append(all, logged(s.witnessURL, func(note string) error { return postHead(client, s.witnessURL, note) }))
	}
	return all, nil
}

// appendHead appends a head and an empty line. The file may be moved away meanwhile: it is opened each time.
func appendHead(path, note string) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o644)
	if err != nil {
		return err
	}
	_, err = f.WriteString(note + "\n")
	return errors.Join(err, f.Sync(), f.Close())
}

// postHead posts a head as text/plain; any answer of the 200s will do.
func postHead(client *http.Client, address, note string) error {
	ctx, cancel := context.WithTimeout(context.Background(), witnessTime)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, address, strings.NewReader(note))
	if err != nil {
		return err
	}
	r.Header.Set("Content-Type", "text/plain; charset=utf-8")
	answer, err := client.Do(r)
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	if _, err := io.Copy(io.Discard, io.LimitReader(answer.Body, 1<<16)); err != nil {
		return err
	}
	if answer.StatusCode/100 != 2 {
		return fmt.Errorf("it answered %s", answer.Status)
	}
	return nil
}
