package main

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"brakewright/readiness"
	"brakewright/server"
	"brakewright/server/acts"
	"brakewright/server/demo"
	"brakewright/store"
)

// demonstration is what demo needs to know. Beside the database DB stand its key file, DB.key, and DB.people with the
// log-ins: they were drawn when it was made and are nowhere in it.
type demonstration struct {
	database    string
	listen      string
	seed        uint64
	asOf        string
	credentials string
}

func newDemo() *cobra.Command {
	var d demonstration
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Serve an invented training centre with five months of history",
		Long: `Demo makes a training centre of our own invention, with five months of history made through the
same code as real use, and serves it. It prints the address and everybody's log-in. Nobody in it
is real. A database that is already there is reopened as it is; without --database a temporary
one is made and removed at the end.

With --as-of the history ends on that date and the clock then runs on from it.`,
		Example: `  brakewright demo
  brakewright demo --database demo.db --seed 7 --as-of 2030-05-01 --credentials people.json`,
		Args: exactly(0, ""),
	}
	f := cmd.Flags()
	f.StringVar(&d.database, "database", "", "database file of the demonstration (default: a temporary one)")
	f.StringVar(&d.listen, "listen", "127.0.0.1:8080", "address to listen on; port 0 takes a free one")
	f.Uint64Var(&d.seed, "seed", 1, "seed of the history")
	f.StringVar(&d.asOf, "as-of", "", "date on which the history ends, YYYY-MM-DD (default: today)")
	f.StringVar(&d.credentials, "credentials", "", "file to write with the address and everybody's log-in, as JSON")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if d.asOf != "" && !readiness.ValidDate(d.asOf) {
			return usagef("--as-of %q is not a date (YYYY-MM-DD)", d.asOf)
		}
		if err := fileDatabase(d.database); err != nil {
			return err
		}
		return d.run(cmd.Context(), cmd.OutOrStdout(), cmd.ErrOrStderr())
	}
	return cmd
}

// demoPeople is what stands in DB.people.
type demoPeople struct {
	AsOf   string            `json:"as_of"` // "" for the day it was made
	People []demo.Credential `json:"people"`
}

// demoCredentials is what --credentials writes.
type demoCredentials struct {
	Address string            `json:"address"`
	People  []demo.Credential `json:"people"`
}

func (d *demonstration) run(ctx context.Context, stdout, stderr io.Writer) error {
	if d.database == "" {
		dir, err := os.MkdirTemp("", "brakewright-demo-")
		if err != nil {
			return err
		}
		defer os.RemoveAll(dir)
		d.database = filepath.Join(dir, "demo.db")
	}
	// Listen before the work: an address that is taken is better known at once.
	listener, err := listenOn(ctx, d.listen)
	if err != nil {
		return err
	}
	defer listener.Close()
	people, err := d.makeOrFind(ctx, stderr)
	if err != nil {
		return err
	}
	keys, err := readKeyFile(d.database + ".key")
	if err != nil {
		return err
	}
	clock, err := d.clock(ctx, keys, people.AsOf)
	if err != nil {
		return err
	}
	st, err := store.Open(ctx, store.Options{Database: d.database, Keys: keys, Now: clock, Random: rand.Reader})
	if err != nil {
		return err
	}
	defer st.Close()
	return d.serve(ctx, st, clock, listener, people.People, stdout, stderr)
}

func (d *demonstration) serve(ctx context.Context, st *store.Store, clock func() time.Time, listener net.Listener, people []demo.Credential, stdout, stderr io.Writer) error {
	info, err := st.Info(ctx)
	if err != nil {
		return err
	}
	if !info.Demo {
		return failf("Use 'brakewright serve' for it.", "%s is a real programme, not a demonstration", d.database)
	}
	service := acts.New(st, clock, rand.Reader, programVersion())
	if _, err := service.Programme(ctx); err != nil {
		return err
	}
	shown := make([]server.DemoPerson, len(people))
	for i, p := range people {
		shown[i] = server.DemoPerson(p)
	}
	log := newLog(stderr)
	h, err := server.New(server.Config{Acts: service, Store: st, Version: programVersion(), Demo: true, DemoPeople: shown, Logger: log})
	if err != nil {
		return err
	}
	address := "http://" + reachable(listener.Addr())
	if d.credentials != "" {
		if err := writeFileWhole(d.credentials, demoCredentials{Address: address, People: people}); err != nil {
			return err
		}
	}
	if err := writeLogIns(stdout, info.Title, address, people); err != nil {
		return err
	}
	return serveHTTP(ctx, listener, h, log)
}

// reachable is an address as a browser on this machine takes it: all addresses are also the local one.
func reachable(a net.Addr) string {
	if t, ok := a.(*net.TCPAddr); ok && t.IP.IsUnspecified() {
		return net.JoinHostPort("127.0.0.1", fmt.Sprint(t.Port))
	}
	return a.String()
}

func writeLogIns(w io.Writer, title, address string, people []demo.Credential) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s, an invented training centre: %s\n\n", title, address)
	fmt.Fprintf(&b, "%-12s %-36s %-36s %s\n", "Log-in", "Password", "Signing passphrase", "Who")
	for _, p := range people {
		fmt.Fprintf(&b, "%-12s %-36s %-36s %s, %s\n", p.Login, p.Password, p.Passphrase, p.Name, strings.Join(p.Roles, ", "))
	}
	b.WriteString("\nStop with Ctrl-C.\n")
	_, err := io.WriteString(w, b.String())
	return err
}

// makeOrFind makes the database if it is absent, and gives the log-ins.
func (d *demonstration) makeOrFind(ctx context.Context, stderr io.Writer) (demoPeople, error) {
	side := d.database + ".people"
	if _, err := os.Stat(d.database); err == nil {
		var p demoPeople
		b, err := os.ReadFile(side)
		if err == nil {
			err = json.Unmarshal(b, &p)
		}
		if err != nil {
			fmt.Fprintf(stderr, "The log-ins stood in %s, which cannot be read: %v\n", side, err)
		}
		return p, nil
	} else if !errors.Is(err, fs.ErrNotExist) {
		return demoPeople{}, fmt.Errorf("cannot open the database: %w", err)
	}
	if err := mustBeFree(d.database+".key", "the key file"); err != nil {
		return demoPeople{}, err
	}
	p := demoPeople{AsOf: d.asOf}
	end := now()
	if d.asOf != "" {
		end = endOf(d.asOf)
	}
	fmt.Fprintln(stderr, "Making five months of history.")
	var err error
	if p.People, err = d.make(ctx, end, stderr); err == nil {
		err = writeFileWhole(side, p)
	}
	if err != nil {
		for _, path := range []string{d.database, d.database + "-wal", d.database + "-shm", d.database + ".key", side} {
			os.Remove(path) // all were absent before
		}
	}
	return p, err
}

func (d *demonstration) make(ctx context.Context, end time.Time, stderr io.Writer) ([]demo.Credential, error) {
	keys, err := store.NewKeyFile(rand.Reader)
	if err != nil {
		return nil, err
	}
	if err := keys.Write(d.database + ".key"); err != nil {
		return nil, err
	}
	tell := progressOn(stderr)
	return demo.Build(ctx, demo.Options{
		Store: store.Options{Database: d.database, Keys: keys},
		Seed:  d.seed, End: end, Version: programVersion(),
		Progress: func(done, total int) { tell("day", int64(done), int64(total)) },
	})
}

// endOf is the moment at which a history ends that ends on a date: an afternoon.
func endOf(date string) time.Time {
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		panic("demo: a date was checked before: " + err.Error())
	}
	return t.Add(15 * time.Hour)
}

// clock is the demonstration's clock. It runs on from the date on which the history ended, if one was named now or when
// it was made, and never stands before the last entry.
func (d *demonstration) clock(ctx context.Context, keys *store.KeyFile, madeAsOf string) (func() time.Time, error) {
	start := now()
	from := start
	if d.asOf != "" {
		from = endOf(d.asOf)
	} else if madeAsOf != "" {
		from = endOf(madeAsOf)
	}
	st, err := store.Open(ctx, store.Options{Database: d.database, Keys: keys, Now: now, Random: rand.Reader})
	if err != nil {
		return nil, err
	}
	defer st.Close()
	last, err := st.Entries(ctx, store.EntryFilter{Newest: true, Limit: 1})
	if err != nil {
		return nil, err
	}
	if len(last) > 0 {
		if at := time.UnixMilli(last[0].Entry.RecordedAt); at.After(from) {
			from = at
		}
	}
	return func() time.Time { return from.Add(now().Sub(start)) }, nil
}

// writeFileWhole writes JSON for its owner alone; the file is never seen half written.
func writeFileWhole(path string, v any) error {
	temp, err := os.CreateTemp(filepath.Dir(path), ".brakewright-*")
	if err != nil {
		return fmt.Errorf("cannot write %s: %w", path, err)
	}
	defer os.Remove(temp.Name()) // gone already once renamed
	if err = errors.Join(writeJSON(temp, v), temp.Close()); err == nil {
		err = os.Rename(temp.Name(), path)
	}
	if err != nil {
		return fmt.Errorf("cannot write %s: %w", path, err)
	}
	return nil
}
