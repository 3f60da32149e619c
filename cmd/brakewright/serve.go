package main

import (
	"context"
	"crypto/rand"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"os"
	"time"

	"github.com/spf13/cobra"

	"brakewright/curriculum/brakes"
	"brakewright/server"
	"brakewright/server/acts"
	"brakewright/store"
)

// serving is what serve needs to know.
type serving struct {
	database, keyFile string
	listen            string
	curriculum        string
	publicURL         string
	tlsCert, tlsKey   string
	witnessFile       string
	witnessURL        string
}

func newServe() *cobra.Command {
	var s serving
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "Serve a programme: pages for people and the JSON API",
		Long: `Serve runs until it is told to stop (SIGTERM or SIGINT), and then lets running requests end.
It starts on the programme edition that was adopted last, which is kept in the database. A folder
named with --curriculum is compared with it whenever a coordinator looks; a changed one is
offered, and adopted only by a coordinator's signature.

A witness that keeps heads of the ledger elsewhere lets a rewritten or shortened history show:
--witness-file appends them to a file, --witness-url posts them. Hand one to
'brakewright verify --head'. The last head is also kept beside the key file, and an older copy
of the database is not signed for.

Put it behind https: with --tls-cert and --tls-key, or behind a proxy with --public-url. Over
plain http passwords can be read on the way; that is for this machine alone.`,
		Example: `  brakewright serve --database shop.db --key-file shop.key
  brakewright serve --database shop.db --key-file shop.key --listen :443 \
      --tls-cert cert.pem --tls-key key.pem --public-url https://brakes.example.org --curriculum my-programme`,
		Args: exactly(0, ""),
	}
	f := cmd.Flags()
	databaseFlag(cmd, &s.database)
	f.StringVar(&s.keyFile, "key-file", "", "the key file")
	f.StringVar(&s.listen, "listen", "127.0.0.1:8080", "address to listen on; port 0 takes a free one")
	f.StringVar(&s.curriculum, "curriculum", "", "programme folder to watch for changes")
	f.StringVar(&s.publicURL, "public-url", "", "address that people use, like https://brakes.example.org")
	f.StringVar(&s.tlsCert, "tls-cert", "", "certificate chain, PEM")
	f.StringVar(&s.tlsKey, "tls-key", "", "private key of the certificate, PEM")
	f.StringVar(&s.witnessFile, "witness-file", "", "file to which heads of the ledger are appended; keep it elsewhere")
	f.StringVar(&s.witnessURL, "witness-url", "", "address to which heads of the ledger are posted as text")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if err := needed(cmd, "database", "key-file"); err != nil {
			return err
		}
		if err := s.check(); err != nil {
			return err
		}
		return s.run(cmd.Context(), cmd.OutOrStdout(), cmd.ErrOrStderr())
	}
	return cmd
}

// check refuses flags that cannot work.
func (s *serving) check() error {
	if (s.tlsCert == "") != (s.tlsKey == "") {
		return usagef("--tls-cert and --tls-key go together")
	}
	if s.witnessURL != "" {
		if u, err := url.Parse(s.witnessURL); err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
			return usagef("--witness-url must be like https://witness.example.org/heads, not %q", s.witnessURL)
		}
	}
	if s.publicURL != "" {
		u, err := url.Parse(s.publicURL)
		if err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
			return usagef("--public-url must be like https://brakes.example.org, not %q", s.publicURL)
		}
		if u.Scheme == "http" && s.tlsCert != "" {
			return usagef("--public-url must begin with https:// where --tls-cert is given")
		}
	}
	if s.curriculum == "" {
		return nil
	}
	_, err := curriculumFS(s.curriculum)
	return err
}

// folder is the programme folder to watch; "" where that is the programme which comes along.
func (s *serving) folder() string {
	if s.curriculum == embedded {
		return ""
	}
	return s.curriculum
}

func (s *serving) run(ctx context.Context, stdout, stderr io.Writer) error {
	log := newLog(stderr)
	o, err := databaseOptions(s.database, s.keyFile)
	if err != nil {
		return err
	}
	o.Recompute = true
	if o.Witnesses, err = s.witnesses(log); err != nil {
		return err
	}
	st, err := store.Open(ctx, o)
	if err != nil {
		return err
	}
	defer st.Close()
	if err := st.Refusal(); err != nil {
		return err
	}
	for _, person := range st.NotErased() {
		log.Warn("the copy that was put back is older than an erasure, which could not be made again: a coordinator must erase this person again", "person", person)
	}
	info, err := st.Info(ctx)
	if err != nil {
		return err
	}
	if info.Demo {
		return failf("Use 'brakewright demo --database', or found a real programme with 'brakewright init'.",
			"%s is a demonstration: its log-ins are known to everybody", s.database)
	}
	certificate, err := s.certificate()
	if err != nil {
		return err
	}
	listener, err := listenOn(ctx, s.listen)
	if err != nil {
		return err
	}
	defer listener.Close()
	address := s.publicURL
	scheme := "http"
	if certificate != nil {
		scheme = "https"
		listener = tls.NewListener(listener, certificate)
	}
	if local := scheme + "://" + listener.Addr().String(); address == "" {
		address = local
	}
	service := acts.New(st, now, rand.Reader, programVersion())
	if _, err := service.Programme(ctx); err != nil { // also warms the cache
		return err
	}
	h, err := server.New(server.Config{
		Acts: service, Store: st, CurriculumDir: s.folder(), Embedded: brakes.FS, PublicURL: cookieURL(s.publicURL, scheme, listener.Addr()), Version: programVersion(), Logger: log,
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(stdout, "%s: %s\n", info.Title, address)
	return serveHTTP(ctx, listener, h, log)
}

// cookieURL is the public address that cookies follow. Where we speak TLS ourselves and none is given, it is our own.
func cookieURL(publicURL, scheme string, addr net.Addr) string {
	if publicURL == "" && scheme == "https" {
		return scheme + "://" + addr.String()
	}
	return publicURL
}

// certificate loads the TLS files; nil if none are given.
func (s *serving) certificate() (*tls.Config, error) {
	if s.tlsCert == "" {
		return nil, nil
	}
	pair, err := tls.LoadX509KeyPair(s.tlsCert, s.tlsKey)
	if err != nil {
		return nil, failf("Check both files: PEM, the certificate's chain and its own key.", "the TLS certificate cannot be used: %w", err)
	}
	return &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12, NextProtos: []string{"h2", "http/1.1"}}, nil
}

// listenOn opens the address.
func listenOn(ctx context.Context, address string) (net.Listener, error) {
	l, err := new(net.ListenConfig).Listen(ctx, "tcp", address)
	if err != nil {
		return nil, failf("Choose another with --listen; port 0 takes a free one.", "cannot listen on %s: %w", address, err)
	}
	return l, nil
}

// newLog writes structured lines without personal data.
func newLog(w io.Writer) *slog.Logger { return slog.New(slog.NewJSONHandler(w, nil)) }

// Times that bound a request. A page is small and quick; a phone on bad Wi-Fi is not.
const (
	headerTime   = 10 * time.Second
	readTime     = 60 * time.Second
	writeTime    = 60 * time.Second
	idleTime     = 2 * time.Minute
	shutdownTime = 20 * time.Second
)

// serveHTTP serves until ctx ends; then it lets running requests end, within shutdownTime.
func serveHTTP(ctx context.Context, l net.Listener, h http.Handler, log *slog.Logger) error {
	srv := &http.Server{
		Handler:           h,
		ReadHeaderTimeout: headerTime, ReadTimeout: readTime, WriteTimeout: writeTime, IdleTimeout: idleTime,
		MaxHeaderBytes: 64 << 10,
		ErrorLog:       slog.NewLogLogger(log.Handler(), slog.LevelWarn),
	}
	failed := make(chan error, 1)
	go func() { failed <- srv.Serve(l) }()
	log.Info("serving", "address", l.Addr().String(), "version", programVersion(), "process", os.Getpid())
	select {
	case err := <-failed:
		return err
	case <-ctx.Done():
	}
	log.Info("stopping")
	end, cancel := context.WithTimeout(context.WithoutCancel(ctx), shutdownTime)
	defer cancel()
	if err := srv.Shutdown(end); err != nil {
		log.Warn("requests were cut off", "error", err.Error())
		srv.Close()
	}
	if err := <-failed; !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	log.Info("stopped")
	return nil
}
