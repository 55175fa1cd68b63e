package main

import (
	"database/sql"
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/rogpeppe/go-internal/testscript"
)

// widest is how many columns a line may have that is not an error.
const widest = 100

// scriptCommands are what the scripts can do beside testscript's own commands.
var scriptCommands = map[string]func(ts *testscript.TestScript, neg bool, args []string){
	"exits":      exits,
	"holds":      holds,
	"json":       validJSON,
	"newer":      newer,
	"narrow":     narrow,
	"altered":    altered,
	"cut":        cut,
	"damage":     damage,
	"taken":      taken,
	"calibrated": calibratedIn,
}

// taken VAR PATTERN: VAR is the first thing on stdout that PATTERN matches.
func taken(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: taken VAR PATTERN")
	}
	pattern, err := regexp.Compile(args[1])
	ts.Check(err)
	found := pattern.FindString(ts.ReadFile("stdout"))
	if found == "" {
		ts.Fatalf("nothing on stdout is like %s", args[1])
	}
	ts.Setenv(args[0], found)
}

// altered FROM TO OLD NEW: TO is FROM with each OLD, which must be there, made NEW.
func altered(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 4 {
		ts.Fatalf("usage: altered FROM TO OLD NEW")
	}
	text := ts.ReadFile(args[0])
	if !strings.Contains(text, args[2]) {
		ts.Fatalf("%s has no %q", args[0], args[2])
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), []byte(strings.ReplaceAll(text, args[2], args[3])), 0o644))
}

// exits CODE PROGRAM ARG...: the program ends with exactly that exit code, and
// says one error at most.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE PROGRAM ARG...")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	code := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		var exit *exec.ExitError
		if !errors.As(err, &exit) {
			ts.Fatalf("running %v: %v", args[1:], err)
		}
		code = exit.ExitCode()
	}
	if code != want {
		ts.Fatalf("%v ended with %d, want %d", args[1:], code, want)
	}
	said := ts.ReadFile("stderr")
	if n := strings.Count(said, "error: "); n > 1 || n == 1 && !strings.HasPrefix(lastLine(said), "error: ") {
		ts.Fatalf("an error is one line, the last, with one prefix")
	}
}

func lastLine(text string) string {
	lines := strings.Split(strings.TrimRight(text, "\n"), "\n")
	return lines[len(lines)-1]
}

// holds STORE TABLE=ROWS... takes=FILES: the store has so many rows, and so
// many files lie in its folder of takes.
func holds(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: holds STORE TABLE=ROWS...")
	}
	path := ts.MkAbs(args[0])
	store, err := sql.Open("sqlite3", "file:"+path+"?mode=ro")
	ts.Check(err)
	defer store.Close()
	for _, arg := range args[1:] {
		name, number, _ := strings.Cut(arg, "=")
		want, err := strconv.Atoi(number)
		ts.Check(err)
		got := 0
		if name == "takes" {
			files, err := os.ReadDir(path + ".takes")
			ts.Check(err)
			got = len(files)
		} else {
			ts.Check(store.QueryRow("SELECT count(*) FROM " + name).Scan(&got))
		}
		if got != want {
			ts.Fatalf("%s holds %d %s, want %d", args[0], got, name, want)
		}
	}
}

// newer STORE: the store is one of a version yet to come.
func newer(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: newer STORE")
	}
	store, err := sql.Open("sqlite3", "file:"+ts.MkAbs(args[0]))
	ts.Check(err)
	defer store.Close()
	_, err = store.Exec("INSERT INTO goose_db_version (version_id, is_applied) VALUES (999, 1)")
	ts.Check(err)
}

// json FILE...: each file, or stdout, is JSON documents and nothing else, one
// at least.
func validJSON(ts *testscript.TestScript, neg bool, args []string) {
	for _, file := range args {
		from := json.NewDecoder(strings.NewReader(ts.ReadFile(file)))
		for n := 0; ; n++ {
			var v any
			err := from.Decode(&v)
			if err == io.EOF && n > 0 {
				break
			}
			if err != nil {
				ts.Fatalf("%s is not JSON after %d documents: %v", file, n, err)
			}
		}
	}
	if neg || len(args) == 0 {
		ts.Fatalf("usage: json FILE...")
	}
}

// narrow FILE...: no line is wider than a printed page, but for an error, which
// is one line, and a path, which cannot be broken.
func narrow(ts *testscript.TestScript, neg bool, args []string) {
	for _, file := range args {
		for _, line := range strings.Split(ts.ReadFile(file), "\n") {
			if n := utf8.RuneCountInString(line); n > widest && !strings.HasPrefix(line, "error: ") && !strings.HasPrefix(line, "plot: ") && !strings.HasPrefix(line, "sheet: ") {
				ts.Fatalf("%s has a line of %d columns: %s", file, n, line)
			}
		}
	}
	if neg || len(args) == 0 {
		ts.Fatalf("usage: narrow FILE...")
	}
}

// cut FROM TO BYTES: TO is FROM's first BYTES.
func cut(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: cut FROM TO BYTES")
	}
	n, err := strconv.Atoi(args[2])
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), []byte(ts.ReadFile(args[0])[:n]), 0o644))
}

// damage STORE: one bit of the store's first take is another.
func damage(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: damage STORE")
	}
	files, err := filepath.Glob(ts.MkAbs(args[0]) + ".takes/*.wav")
	ts.Check(err)
	raw, err := os.ReadFile(files[0])
	ts.Check(err)
	raw[len(raw)/2] ^= 1
	ts.Check(os.Chmod(files[0], 0o644))
	ts.Check(os.WriteFile(files[0], raw, 0o644))
}
