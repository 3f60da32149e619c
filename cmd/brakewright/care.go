package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"brakewright/store"
	"brakewright/store/ledger"
)

func newVerify() *cobra.Command {
	var database, bundleFile, keyFile, headFile, only, format string
	cmd := &cobra.Command{
		Use:   "verify",
		Short: "Check every hash, signature, rule and projection of a database, changing nothing",
		Long: `Verify reads the whole database and checks that every entry is as it was signed, that the
rules were kept, that everything named by a hash is there unchanged, and that the projections
are what the ledger gives. With the key file it also opens the personal rows; without it they are
reported as not examined. It changes nothing and may run while the service does.

Give it the last head that was kept elsewhere: by a witness, on a printed record, from
/api/v1/ledger/head. Without one nobody can exclude that the newest entries were cut off, that the
whole was put back to an older copy, or that whoever has the key file rewrote history.

With --bundle it checks one person's record, carried away by 'brakewright bundle', by itself.

The exit status is 1 if anything is wrong.`,
		Example: `  brakewright verify --database shop.db --key-file shop.key
  brakewright verify --bundle pat.json --head last-head.txt
  brakewright verify --database shop.db --key-file shop.key --head last-head.txt
  brakewright verify --database backup.db --only ledger --format json`,
		Args: exactly(0, ""),
	}
	f := cmd.Flags()
	databaseFlag(cmd, &database)
	f.StringVar(&keyFile, "key-file", "", "key file: opens the personal rows too")
	f.StringVar(&bundleFile, "bundle", "", "a bundle instead of a database")
	f.StringVar(&headFile, "head", "", "file with a head kept elsewhere; of several, the longest counts")
	f.Var(&oneOf{value: &only, allowed: []string{"ledger"}}, "only", "check the ledger alone")
	formatFlag(cmd, &format, "text", "json")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if bundleFile != "" {
			if database != "" || only != "" {
				return usagef("--bundle goes without --database and --only")
			}
			return verifyBundle(cmd.OutOrStdout(), bundleFile, keyFile, headFile, format)
		}
		if err := needed(cmd, "database"); err != nil {
			return err
		}
		o, err := databaseOptions(database, keyFile)
		if err != nil {
			return err
		}
		heads, err := readHead(headFile)
		if err != nil {
			return err
		}
		v, err := store.VerifyAgainst(cmd.Context(), o, heads, only == "ledger", progressOn(cmd.ErrOrStderr()))
		if err != nil {
			return err
		}
		return reportVerification(cmd.OutOrStdout(), v, format)
	}
	return cmd
}

func verifyBundle(w io.Writer, bundleFile, keyFile, headFile, format string) error {
	file, err := os.ReadFile(bundleFile)
	if err != nil {
		return failf("Name the file that 'brakewright bundle' wrote.", "the bundle cannot be read: %w", err)
	}
	var keys *store.KeyFile
	if keyFile != "" {
		if keys, err = readKeyFile(keyFile); err != nil {
			return err
		}
	}
	heads, err := readHead(headFile)
	if err != nil {
		return err
	}
	return reportVerification(w, store.VerifyBundle(file, keys, heads), format)
}

func newBundle() *cobra.Command {
	var database, keyFile, person, out string
	cmd := &cobra.Command{
		Use:   "bundle",
		Short: "Put one person's record into a file that can be checked anywhere",
		Long: `Bundle writes everything that it takes to check one person's record without the database: the
entries with their proofs, the signed head, the keys, the personal fields with their salts, and the
forms, answers, marks and verdicts. It holds names and notes in the clear: give it to nobody but the
person. 'brakewright verify --bundle' checks it, and so can any program that follows its description.`,
		Example: "  brakewright bundle --database shop.db --key-file shop.key --person 0198… --out pat.json",
		Args:    exactly(0, ""),
	}
	databaseFlag(cmd, &database)
	f := cmd.Flags()
	f.StringVar(&keyFile, "key-file", "", "the key file")
	f.StringVar(&person, "person", "", "the person's id; 'brakewright person list' shows them")
	f.StringVar(&out, "out", "", "file to make; it must not exist")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if err := needed(cmd, "database", "key-file", "person", "out"); err != nil {
			return err
		}
		if err := mustBeFree(out, "the bundle"); err != nil {
			return err
		}
		st, err := openStore(cmd.Context(), database, keyFile)
		if err != nil {
			return err
		}
		defer st.Close()
		b, err := st.Bundle(cmd.Context(), person)
		if errors.Is(err, store.ErrNotFound) {
			return failf("'brakewright person list' shows the ids.", "there is nobody with the id %q", person)
		}
		if err != nil {
			return err
		}
		file, err := b.Encode()
		if err != nil {
			return err
		}
		if err := writeNew(out, file); err != nil {
			return err
		}
		_, err = fmt.Fprintf(cmd.OutOrStdout(), "Wrote %s: %s It holds names and notes in the clear: it is the person's own.\n", out, countEntries(int64(len(b.Entries))))
		return err
	}
	return cmd
}

// writeNew writes a file that must not exist yet, for its owner alone.
func writeNew(path string, b []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(b)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		os.Remove(path)
	}
	return err
}

// readHead reads the file of --head; "" is none.
func readHead(path string) ([]*ledger.TreeHead, error) {
	if path == "" {
		return nil, nil
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, failf("Name the file in which the head was kept.", "the head cannot be read: %w", err)
	}
	h, err := ledger.HeadOf(b)
	if err != nil {
		return nil, failf("A head has three lines, an empty one and a line with a signature; or give the JSON answer of /api/v1/ledger/head.", "%s: %w", path, err)
	}
	return []*ledger.TreeHead{h}, nil
}

func newRebuild() *cobra.Command {
	var database, format string
	var check bool
	cmd := &cobra.Command{
		Use:   "rebuild",
		Short: "Make the tables that pages read anew from the ledger",
		Example: `  brakewright rebuild --database shop.db --check    say what differs, change nothing
  brakewright rebuild --database shop.db`,
		Args: exactly(0, ""),
	}
	databaseFlag(cmd, &database)
	cmd.Flags().BoolVar(&check, "check", false, "change nothing; say what differs")
	formatFlag(cmd, &format, "text", "json")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if err := needed(cmd, "database"); err != nil {
			return err
		}
		o, err := databaseOptions(database, "")
		if err != nil {
			return err
		}
		v, err := store.Rebuild(cmd.Context(), o, check, progressOn(cmd.ErrOrStderr()))
		if err != nil {
			return err
		}
		return reportVerification(cmd.OutOrStdout(), v, format)
	}
	return cmd
}

func newBackup() *cobra.Command {
	var database, out, format string
	cmd := &cobra.Command{
		Use:   "backup",
		Short: "Copy a database to a new file while the service runs",
		Long: `Backup makes a whole copy of a database, also while the service writes to it, and checks the
copy. It never holds the key file: keep a copy of that apart, or names and notes in the backup
can never be opened again.`,
		Example: "  brakewright backup --database shop.db --out shop-2030-05-01.db",
		Args:    exactly(0, ""),
	}
	databaseFlag(cmd, &database)
	cmd.Flags().StringVar(&out, "out", "", "file to make; it must not exist")
	formatFlag(cmd, &format, "text", "json")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if err := needed(cmd, "database", "out"); err != nil {
			return err
		}
		o, err := databaseOptions(database, "")
		if err != nil {
			return err
		}
		if err := mustBeFree(out, "the backup"); err != nil {
			return err
		}
		head, err := store.Backup(cmd.Context(), o, out, progressOn(cmd.ErrOrStderr()))
		if err != nil {
			return err
		}
		if format == "json" {
			return writeJSON(cmd.OutOrStdout(), map[string]any{"backup": out, "head": head})
		}
		said := fmt.Sprintf("Backed up to %s. The key file is not in it: keep a copy of that apart.\n", out)
		if head != nil {
			said += "Head:\n" + *head
		}
		_, err = io.WriteString(cmd.OutOrStdout(), said)
		return err
	}
	return cmd
}

func newRestore() *cobra.Command {
	var from, database, keyFile, format string
	var force bool
	cmd := &cobra.Command{
		Use:   "restore",
		Short: "Check a backup and put it in place of the database",
		Long: `Restore verifies a backup and then puts it in place. Stop the service first. It refuses to
replace a database that holds entries which the backup lacks, and with the key file also a backup
older than the head kept beside it, unless --force says that what came after may be lost. A
forced restore that loses anything is recorded in the ledger, and people erased since are erased
again: at once with the key file, else when the service next starts.`,
		Example: "  brakewright restore --from shop-2030-05-01.db --database shop.db",
		Args:    exactly(0, ""),
	}
	databaseFlag(cmd, &database)
	cmd.Flags().StringVar(&from, "from", "", "the backup")
	cmd.Flags().StringVar(&keyFile, "key-file", "", "key file: compares with the head kept beside it, and records a forced restore at once")
	cmd.Flags().BoolVar(&force, "force", false, "also when entries are lost by it")
	formatFlag(cmd, &format, "text", "json")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if err := needed(cmd, "from", "database"); err != nil {
			return err
		}
		if err := fileDatabase(database); err != nil {
			return err
		}
		o, err := databaseOptions(from, keyFile)
		if err != nil {
			return err
		}
		o.Database = database
		v, err := store.Restore(cmd.Context(), from, o, force, progressOn(cmd.ErrOrStderr()))
		if err != nil {
			return err
		}
		return reportVerification(cmd.OutOrStdout(), v, format)
	}
	return cmd
}

func databaseFlag(cmd *cobra.Command, database *string) {
	cmd.Flags().StringVar(database, "database", "", "the database file")
}

// reportVerification prints a verification and makes the exit status follow it.
func reportVerification(w io.Writer, v *store.Verification, format string) error {
	var err error
	if format == "json" {
		err = writeJSON(w, v)
	} else {
		err = writeVerification(w, v)
	}
	if err == nil && !v.OK {
		return errFindings
	}
	return err
}

func writeVerification(w io.Writer, v *store.Verification) error {
	var b strings.Builder
	for _, c := range v.Checks {
		said := "ok"
		if !c.OK {
			said = "WRONG"
		}
		fmt.Fprintf(&b, "%-5s  %s: %d\n", said, c.Name, c.Count)
	}
	for _, what := range v.NotExamined {
		if what == "rollback" && !slices.Contains(v.NotExamined, "completeness") {
			b.WriteString("cannot be excluded without a head kept elsewhere (--head): that newest entries were cut off, that this is an older copy, that all was rewritten\n")
			continue
		}
		fmt.Fprintf(&b, "not examined: %s\n", notExamined(what))
	}
	if p := v.FirstProblem; p != nil {
		fmt.Fprintf(&b, "First problem: table %s, row %s", p.Table, p.Row)
		if p.Index >= 0 {
			fmt.Fprintf(&b, ", entry %d", p.Index)
		}
		fmt.Fprintf(&b, ": %s\n", p.What)
	}
	if v.Head != nil {
		fmt.Fprintf(&b, "Head:\n%s\n", strings.TrimSuffix(*v.Head, "\n"))
	}
	said := "All is as it was signed."
	if !v.OK {
		said = "Something is wrong. Keep this database as it is and look at the first problem."
	}
	fmt.Fprintf(&b, "%s %s\n", countEntries(v.Entries), said)
	_, err := io.WriteString(w, b.String())
	return err
}

// notExamined says what a word of the list means.
func notExamined(what string) string {
	switch what {
	case "personal":
		return "personal rows (give the key file)"
	case "head_signature":
		return "whether the head is signed by the right key (give the key file)"
	case "rollback":
		return "whether the bundle's head is one that others know (give one of as many entries with --head)"
	case "completeness":
		return "whether the bundle leaves entries out (only the ledger itself shows that)"
	case "head_key":
		return "whether the head is signed by the right key (compare its key with the one published, or give the key file)"
	case "tree":
		return "the tree over all entries (there is none yet: open the database once with its key file)"
	}
	return what
}

func countEntries(n int64) string {
	if n == 1 {
		return "1 entry."
	}
	return fmt.Sprintf("%d entries.", n)
}
