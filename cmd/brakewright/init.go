package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"brakewright/curriculum"
	"brakewright/server/acts"
	"brakewright/store"
)

// founding is what init needs to know.
type founding struct {
	database, keyFile string
	origin, title     string
	curriculum, zone  string
	person, login     string
	secretsFile       string
	secrets           secrets
}

func newInit() *cobra.Command {
	var f founding
	var format string
	cmd := &cobra.Command{
		Use:   "init",
		Short: "Found a programme: its database, its key file and its first coordinator",
		Long: `Init makes the database, the key file and the first coordinator, and adopts the programme
folder. At a terminal it asks for what the flags leave out.

The secrets file holds {"password": "…", "passphrase": "…"} as JSON or YAML; "-" reads it from
standard input. The password logs in; the passphrase unlocks the coordinator's signing key.
Keep a copy of the key file apart from the backups. A folder with errors is refused. If anything
fails, nothing is left behind.`,
		Example: `  brakewright init
  brakewright init --database shop.db --key-file shop.key --origin example.org/brakes \
      --curriculum embedded --title "Brake training" --zone America/Denver \
      --person "Ada Coordinator" --login ada --secrets-file -`,
		Args: exactly(0, ""),
	}
	fl := cmd.Flags()
	databaseFlag(cmd, &f.database)
	fl.StringVar(&f.keyFile, "key-file", "", "key file to make; keep a copy apart from the backups")
	fl.StringVar(&f.origin, "origin", "", "name of this ledger for ever, like example.org/brakes")
	fl.StringVar(&f.curriculum, "curriculum", "", "programme folder, or \"embedded\"")
	fl.StringVar(&f.title, "title", "", "title of the programme")
	fl.StringVar(&f.zone, "zone", "", "time zone, like America/Denver")
	fl.StringVar(&f.person, "person", "", "name of the first coordinator")
	fl.StringVar(&f.login, "login", "", "log-in of the first coordinator")
	fl.StringVar(&f.secretsFile, "secrets-file", "", "file with the coordinator's password and passphrase")
	formatFlag(cmd, &format, "text", "json")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if err := f.complete(cmd); err != nil {
			return err
		}
		if err := f.check(); err != nil {
			return err
		}
		fsys, err := curriculumFS(f.curriculum)
		if err != nil {
			return err
		}
		p, problems := acts.LoadProgramme(fsys)
		if err := writeProblems(cmd.ErrOrStderr(), problems); err != nil {
			return err
		}
		if p == nil {
			return failf("Mend the folder first; 'brakewright lint' says the same.", "the programme folder %s has errors, so nothing was made", f.curriculum)
		}
		if err := f.found(cmd.Context(), fsys); err != nil {
			return err
		}
		return f.report(cmd.OutOrStdout(), p, format)
	}
	return cmd
}

// complete asks for what is missing where somebody sits at a terminal.
func (f *founding) complete(cmd *cobra.Command) error {
	a := newAsker(cmd.InOrStdin(), cmd.ErrOrStderr())
	if a == nil {
		if err := needed(cmd, "database", "key-file", "origin", "curriculum", "title", "zone", "person", "login", "secrets-file"); err != nil {
			return err
		}
	} else {
		for _, q := range []struct {
			value              *string
			question, proposal string
		}{
			{&f.database, "Database file to make", "brakewright.db"},
			{&f.keyFile, "Key file to make", "brakewright.key"},
			{&f.curriculum, "Programme folder, or \"embedded\" for the brake programme that comes with the program", embedded},
			{&f.title, "Title of the programme", ""},
			{&f.origin, "Name of this ledger for ever, like example.org/brakes", ""},
			{&f.zone, "Time zone, like America/Denver", localZone()},
			{&f.person, "Name of the first coordinator", ""},
			{&f.login, "Log-in of the first coordinator", ""},
		} {
			if *q.value != "" {
				continue
			}
			var err error
			if *q.value, err = a.line(q.question, q.proposal); err != nil {
				return err
			}
		}
	}
	var err error
	if f.secretsFile != "" {
		f.secrets, err = readSecrets(cmd.InOrStdin(), f.secretsFile)
		return err
	}
	if f.secrets.Password, err = a.newSecret("Password to log in"); err != nil {
		return err
	}
	f.secrets.Passphrase, err = a.newSecret("Passphrase to sign with (another one)")
	return err
}

// localZone is this machine's time zone by name, or "".
func localZone() string {
	if name := time.Local.String(); name != "Local" {
		return name
	}
	if target, err := os.Readlink("/etc/localtime"); err == nil {
		if _, name, ok := strings.Cut(target, "zoneinfo/"); ok {
			return name
		}
	}
	return ""
}

// check refuses what can be seen to be wrong before anything is made.
func (f *founding) check() error {
	if err := fileDatabase(f.database); err != nil {
		return err
	}
	if f.database == f.keyFile {
		return usagef("--database and --key-file must be two files")
	}
	if f.secrets.Password == "" || f.secrets.Passphrase == "" {
		return failf(`It should hold {"password": "…", "passphrase": "…"}, both filled in.`, "the secrets file lacks the password or the passphrase")
	}
	if err := mustBeFree(f.database, "the database"); err != nil {
		return err
	}
	return mustBeFree(f.keyFile, "the key file")
}

// mustBeFree refuses a path where something already is.
func mustBeFree(path, what string) error {
	switch _, err := os.Lstat(path); {
	case err == nil:
		return failf("Choose another path; nothing is ever overwritten.", "%s %s is already there", what, path)
	case errors.Is(err, fs.ErrNotExist):
		return nil
	default:
		return fmt.Errorf("cannot make %s: %w", what, err)
	}
}

// found makes key file and database, or neither.
func (f *founding) found(ctx context.Context, fsys fs.FS) (err error) {
	keys, err := store.NewKeyFile(rand.Reader)
	if err != nil {
		return err
	}
	if err := keys.Write(f.keyFile); err != nil {
		return err
	}
	defer func() {
		if err != nil {
			for _, path := range []string{f.keyFile, f.keyFile + ".head", f.database, f.database + "-wal", f.database + "-shm", f.database + "-journal"} {
				os.Remove(path) // checked before to have been absent
			}
		}
	}()
	s, err := acts.Found(ctx, store.Options{Database: f.database, Keys: keys, Beside: f.keyFile, Now: now, Random: rand.Reader}, store.Founding{
		Origin: f.origin, Title: f.title, Zone: f.zone,
		Name: f.person, Login: f.login, Password: f.secrets.Password, Passphrase: f.secrets.Passphrase,
	}, fsys)
	if err != nil {
		return err
	}
	return s.Close()
}

func (f *founding) report(w io.Writer, p *curriculum.Programme, format string) error {
	if format == "json" {
		return writeJSON(w, map[string]string{
			"database": f.database, "key_file": f.keyFile, "origin": f.origin,
			"programme_edition": p.Edition, "login": f.login,
		})
	}
	_, err := fmt.Fprintf(w, `Founded %s.
  Database  %s
  Key file  %s (keep a copy apart from the backups: without it names and notes cannot be opened)
  Programme %s: %s
  Coordinator's log-in: %s

Start it: brakewright serve --database %s --key-file %s
`, f.title, f.database, f.keyFile, p.Title, contents(p), f.login, f.database, f.keyFile)
	return err
}
