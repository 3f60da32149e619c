package main

import (
	"bytes"
	"context"
	"database/sql"
	"flag"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	_ "github.com/mattn/go-sqlite3"
	"github.com/rogpeppe/go-internal/testscript"
)

var update = flag.Bool("update", false, "write golden files and the tables in DEVELOPERS.md anew")

// asCommand makes the test binary behave as the program itself: the crash test starts and kills it.
const asCommand = "BRAKEWRIGHT_TEST_AS_COMMAND"

func TestMain(m *testing.M) {
	if os.Getenv(asCommand) != "" {
		main()
	}
	testscript.Main(m, map[string]func(){"brakewright": main})
}

// soak says whether the full counts are asked for; otherwise tests do a tenth.
func soak() bool { return os.Getenv("BRAKEWRIGHT_SOAK") == "1" }

func TestScripts(t *testing.T) {
	root, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireUniqueNames:  true,
		RequireExplicitExec: true,
		UpdateScripts:       *update,
		Setup: func(e *testscript.Env) error {
			e.Setenv("REPO", root)
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"sql":    scriptSQL,
			"secret": scriptSecret,
			"change": scriptChange,
		},
	})
}

// scriptSQL runs statements on a database behind the program's back: sql DB STATEMENT.
func scriptSQL(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: sql DB STATEMENT…")
	}
	db, err := sql.Open("sqlite3", ts.MkAbs(args[0]))
	ts.Check(err)
	defer db.Close()
	for _, statement := range args[1:] {
		_, err := db.Exec(statement)
		ts.Check(err)
	}
}

// scriptSecret makes a file that only its owner may read: secret FILE TEXT.
func scriptSecret(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: secret FILE TEXT")
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(args[1]), 0o600))
}

// scriptChange puts other bytes of the same length into a file: change FILE OLD NEW.
func scriptChange(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 || len(args[1]) != len(args[2]) {
		ts.Fatalf("usage: change FILE OLD NEW, both of one length")
	}
	b, err := os.ReadFile(ts.MkAbs(args[0]))
	ts.Check(err)
	if !bytes.Contains(b, []byte(args[1])) {
		ts.Fatalf("%s does not hold %q", args[0], args[1])
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), bytes.ReplaceAll(b, []byte(args[1]), []byte(args[2])), 0o600))
}

// runHere runs a command line in this process and gives its status and what it printed.
func runHere(t *testing.T, stdin string, args ...string) (status int, stdout, stderr string) {
	t.Helper()
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGUSR2)
	defer stop()
	var out, errs strings.Builder
	status = run(ctx, args, strings.NewReader(stdin), &out, &errs)
	return status, out.String(), errs.String()
}
