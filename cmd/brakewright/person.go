package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"brakewright/server/acts"
	"brakewright/server/say"
	"brakewright/store"
)

func newPerson() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "person",
		Short: "Add people, list them, or let somebody back in",
		Example: `  brakewright person list --database shop.db --key-file shop.key
  brakewright person add --help`,
		Args: cobra.ArbitraryArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usagef("there is no command %q", args[0])
			}
			return usagef("say add, list, due or password")
		},
	}
	cmd.AddCommand(newPersonAdd(), newPersonList(), newPersonDue(), newPersonPassword())
	return cmd
}

// office is what commands need that act for a coordinator.
type office struct {
	database, keyFile, as, secretsFile string

	secrets secrets
	asker   *asker // nil where nobody sits at a terminal
}

func (o *office) flags(cmd *cobra.Command) {
	f := cmd.Flags()
	databaseFlag(cmd, &o.database)
	f.StringVar(&o.keyFile, "key-file", "", "the key file")
	f.StringVar(&o.as, "as", "", "log-in of the coordinator who does this")
	f.StringVar(&o.secretsFile, "secrets-file", "", "file with that coordinator's {\"password\": …, \"passphrase\": …}; \"-\" is standard input; left out, a terminal is asked")
}

// open logs the coordinator in and returns what is needed to act. close must be called.
func (o *office) open(cmd *cobra.Command) (service *acts.Service, actor *store.Person, closeAll func(), err error) {
	if err := needed(cmd, "database", "key-file", "as"); err != nil {
		return nil, nil, nil, err
	}
	if o.secretsFile != "" {
		o.secrets, err = readSecrets(cmd.InOrStdin(), o.secretsFile)
	} else if o.asker = newAsker(cmd.InOrStdin(), cmd.ErrOrStderr()); o.asker != nil {
		o.secrets.Password, err = o.asker.secret("Password of " + o.as)
	} else {
		err = needed(cmd, "secrets-file")
	}
	if err != nil {
		return nil, nil, nil, err
	}
	ctx := cmd.Context()
	st, err := openStore(ctx, o.database, o.keyFile)
	if err != nil {
		return nil, nil, nil, err
	}
	service = acts.New(st, now, rand.Reader, programVersion())
	token, actor, err := service.LogIn(ctx, o.as, o.secrets.Password, "", true)
	if err != nil {
		st.Close()
		return nil, nil, nil, err
	}
	return service, actor, func() {
		// The session must end also when the command was interrupted.
		_ = service.LogOut(context.WithoutCancel(ctx), token)
		st.Close()
	}, nil
}

func newPersonAdd() *cobra.Command {
	var o office
	var p acts.NewPerson
	var format string
	cmd := &cobra.Command{
		Use:   "add",
		Short: "Add a person and print the one-time code for the first log-in",
		Long: `Add adds one person with a role, as a coordinator. It prints a one-time code: with it the person
logs in for the first time and then sets a password of their own.`,
		Example: `  brakewright person add --database shop.db --key-file shop.key --as ada --secrets-file ada.yaml \
      --name "Sam Apprentice" --login sam --role apprentice`,
		Args: exactly(0, ""),
	}
	o.flags(cmd)
	f := cmd.Flags()
	f.StringVar(&p.Name, "name", "", "name of the new person")
	f.StringVar(&p.Login, "login", "", "log-in of the new person")
	f.Var(&oneOf{value: &p.Role, allowed: []string{"apprentice", "supervisor", "coordinator"}}, "role", "apprentice, supervisor or coordinator")
	f.StringVar(&p.Site, "site", "", "id or name of the site the role is limited to (default: all sites)")
	f.StringVar(&p.Cohort, "cohort", "", "id or name of the cohort an apprentice joins")
	f.StringVar(&p.Employer, "employer", "", "an apprentice's employer: starts a training agreement")
	f.StringVar(&p.From, "from", "", "first day, YYYY-MM-DD (default: today)")
	formatFlag(cmd, &format, "text", "json")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if err := needed(cmd, "name", "login", "role"); err != nil {
			return err
		}
		service, actor, done, err := o.open(cmd)
		if err != nil {
			return err
		}
		defer done()
		ctx := cmd.Context()
		if p.Site, err = siteByName(ctx, service.Store, p.Site); err != nil {
			return err
		}
		if p.Cohort, err = cohortByName(ctx, service.Store, p.Cohort); err != nil {
			return err
		}
		if p.Role == acts.Coordinator && o.secrets.Passphrase == "" && o.asker != nil {
			if o.secrets.Passphrase, err = o.asker.secret("Signing passphrase of " + o.as); err != nil {
				return err
			}
		}
		codes, err := service.AddPeople(ctx, actor, []acts.NewPerson{p}, o.secrets.Passphrase)
		if err != nil {
			return err
		}
		added, err := service.Store.PersonByLogin(ctx, p.Login)
		if err != nil {
			return err
		}
		code := codes[p.Login]
		if format == "json" {
			return writeJSON(cmd.OutOrStdout(), map[string]string{"id": added.ID, "login": added.Login, "code": code})
		}
		_, err = fmt.Fprintf(cmd.OutOrStdout(), "Added %s (%s), %s.\nOne-time code for the first log-in: %s\n", added.Name, added.Login, p.Role, code)
		return err
	}
	return cmd
}

func newPersonPassword() *cobra.Command {
	var o office
	var login, format string
	cmd := &cobra.Command{
		Use:   "password",
		Short: "Print a one-time code for somebody who is locked out",
		Long: `Password makes a one-time code. With it the person logs in once, within 15 minutes, and sets a
new password. Nobody else learns that password.

With --as a coordinator makes it. Without, it is made on the authority of whoever holds the
database and the key file: the way back in when no coordinator can log in.`,
		Example: `  brakewright person password --database shop.db --key-file shop.key --login sam
  brakewright person password --database shop.db --key-file shop.key --as ada --secrets-file - --login sam`,
		Args: exactly(0, ""),
	}
	o.flags(cmd)
	cmd.Flags().StringVar(&login, "login", "", "log-in of the person who is locked out")
	formatFlag(cmd, &format, "text", "json")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if err := needed(cmd, "database", "key-file", "login"); err != nil {
			return err
		}
		code, expires, err := o.code(cmd, login)
		if err != nil {
			return err
		}
		if format == "json" {
			return writeJSON(cmd.OutOrStdout(), map[string]string{"login": login, "code": code, "expires": expires.UTC().Format(time.RFC3339)})
		}
		_, err = fmt.Fprintf(cmd.OutOrStdout(), "One-time code for %s: %s\nIt works once, until %s.\n", login, code, expires.Local().Format("15:04"))
		return err
	}
	return cmd
}

// code makes a one-time code, as a coordinator or as the operator.
func (o *office) code(cmd *cobra.Command, login string) (code string, expires time.Time, err error) {
	ctx := cmd.Context()
	if o.as == "" {
		s, err := openStore(ctx, o.database, o.keyFile)
		if err != nil {
			return "", time.Time{}, err
		}
		defer s.Close()
		return acts.New(s, now, rand.Reader, programVersion()).OperatorCode(ctx, login)
	}
	service, actor, done, err := o.open(cmd)
	if err != nil {
		return "", time.Time{}, err
	}
	defer done()
	p, err := service.Store.PersonByLogin(ctx, login)
	if errors.Is(err, store.ErrNotFound) {
		return "", time.Time{}, failf("See 'brakewright person list'.", "nobody has the log-in %q", login)
	}
	if err != nil {
		return "", time.Time{}, err
	}
	return service.ShowCode(ctx, actor, p.ID)
}

// personLine is one person as `person list --format json` prints it.
type personLine struct {
	ID    string   `json:"id"`
	Name  string   `json:"name"`
	Login string   `json:"login"`
	Roles []string `json:"roles"` // in force today
	Key   bool     `json:"key"`   // has a signing key
}

// aboutPeople completes a command that opens the database with its key file and prints something about people.
func aboutPeople(cmd *cobra.Command, print func(ctx context.Context, s *store.Store, a *acts.Service, out io.Writer, format string) error) *cobra.Command {
	var database, keyFile, format string
	cmd.Args = exactly(0, "")
	databaseFlag(cmd, &database)
	cmd.Flags().StringVar(&keyFile, "key-file", "", "the key file: names cannot be opened without it")
	formatFlag(cmd, &format, "text", "json")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if err := needed(cmd, "database", "key-file"); err != nil {
			return err
		}
		ctx := cmd.Context()
		s, err := openStore(ctx, database, keyFile)
		if err != nil {
			return err
		}
		defer s.Close()
		return print(ctx, s, acts.New(s, now, rand.Reader, programVersion()), cmd.OutOrStdout(), format)
	}
	return cmd
}

func newPersonList() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "list",
		Short: "List everybody with their roles of today",
		Example: `  brakewright person list --database shop.db --key-file shop.key
  brakewright person list --database shop.db --key-file shop.key --format json`,
	}
	return aboutPeople(cmd, func(ctx context.Context, s *store.Store, a *acts.Service, out io.Writer, format string) error {
		people, err := s.People(ctx)
		if err != nil {
			return err
		}
		today, err := a.Today(ctx)
		if err != nil {
			return err
		}
		lines := make([]personLine, len(people))
		for i, p := range people {
			lines[i] = personLine{ID: p.ID, Name: p.Name, Login: p.Login, Roles: rolesOn(p, today), Key: p.CanSign()}
		}
		return writePeople(out, lines, format)
	})
}

func writePeople(w io.Writer, lines []personLine, format string) error {
	if format == "json" {
		return writeJSON(w, lines)
	}
	for _, l := range lines {
		roles := strings.Join(l.Roles, ", ")
		if roles == "" {
			roles = "no role today"
		}
		key := "can sign"
		if !l.Key {
			key = "no signing key"
		}
		if _, err := fmt.Fprintf(w, "%s  %s (%s): %s; %s\n", l.ID, l.Name, l.Login, roles, key); err != nil {
			return err
		}
	}
	return nil
}

// duePerson is one person as `person due --format json` prints it.
type duePerson struct {
	ID        string    `json:"id"`
	Name      string    `json:"name"`
	KeepUntil string    `json:"keep_until"` // last day on which any of the records must still be there
	Kinds     []dueKind `json:"kinds"`
	Against   []string  `json:"against"` // what stands against erasing the person, in words
}

type dueKind struct {
	Kind      string `json:"kind"`
	Years     int    `json:"years"`
	LastEntry string `json:"last_entry"`
	KeepUntil string `json:"keep_until"`
	Due       bool   `json:"due"`
}

func newPersonDue() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "due",
		Short: "List the people of whom a kind of record need not be kept any longer",
		Long: `Due lists everybody who holds no role and of whom at least one kind of record is past the date
that the programme's policy gives it (retention and retention_years in programme.yaml), and what
stands against erasing them. Nothing is ever erased by itself: a coordinator decides and signs.`,
		Example: `  brakewright person due --database shop.db --key-file shop.key
  brakewright person due --database shop.db --key-file shop.key --format json`,
	}
	return aboutPeople(cmd, func(ctx context.Context, _ *store.Store, a *acts.Service, out io.Writer, format string) error {
		due, err := a.OperatorDue(ctx)
		if err != nil {
			return err
		}
		return writeDue(out, due, format)
	})
}

func writeDue(w io.Writer, due []*acts.Erasure, format string) error {
	people := make([]duePerson, len(due))
	for i, e := range due {
		p := duePerson{ID: e.Person.ID, Name: e.Person.Name, KeepUntil: e.KeepUntil, Kinds: []dueKind{}, Against: []string{}}
		for _, k := range e.Kinds {
			p.Kinds = append(p.Kinds, dueKind{string(k.Kind), k.Years, k.Last, k.Until, k.Due})
		}
		for _, a := range e.Against {
			p.Against = append(p.Against, say.Refusal(a.Code, a.Args))
		}
		people[i] = p
	}
	if format == "json" {
		return writeJSON(w, people)
	}
	var b strings.Builder
	if len(people) == 0 {
		b.WriteString("Nobody's records are past their date today.\n")
	}
	for _, p := range people {
		fmt.Fprintf(&b, "%s  %s\n", p.ID, p.Name)
		for _, k := range p.Kinds {
			state := "must be kept until"
			if k.Due {
				state = "due: was kept until"
			}
			fmt.Fprintf(&b, "    %s: %s %s\n", say.RecordKind(k.Kind), state, k.KeepUntil)
		}
		for _, a := range p.Against {
			fmt.Fprintf(&b, "    not yet: %s\n", a)
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// rolesOn names the roles in force on a date.
func rolesOn(p *store.Person, date string) []string {
	roles := []string{}
	for _, r := range p.Roles {
		if r.Holds(date) {
			roles = append(roles, r.Role)
		}
	}
	return roles
}

// siteByName finds a site by id or name; "" stays "".
func siteByName(ctx context.Context, s *store.Store, name string) (string, error) {
	sites, err := s.Sites(ctx)
	if name == "" || err != nil {
		return "", err
	}
	var names []string
	for _, x := range sites {
		if x.ID == name || x.Name == name {
			return x.ID, nil
		}
		names = append(names, x.Name)
	}
	return "", failf("There are: "+strings.Join(names, ", ")+".", "there is no site %q", name)
}

// cohortByName finds a cohort by id or name; "" stays "".
func cohortByName(ctx context.Context, s *store.Store, name string) (string, error) {
	cohorts, err := s.Cohorts(ctx)
	if name == "" || err != nil {
		return "", err
	}
	var names []string
	for _, x := range cohorts {
		if x.ID == name || x.Name == name {
			return x.ID, nil
		}
		names = append(names, x.Name)
	}
	return "", failf("There are: "+strings.Join(names, ", ")+".", "there is no cohort %q", name)
}
