package architecture

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// What others rely on (the method's version, the exit codes, the migrations, the
// keys of the JSON) changes with an entry in the changelog: its newest entry that
// names a digest names the one of what is here.
func TestWhatOthersRelyOnIsInTheChangelog(t *testing.T) {
	parts := reliedOn(t)
	sum := sha256.Sum256([]byte(strings.Join(parts, "\n")))
	now := hex.EncodeToString(sum[:4])
	text, err := os.ReadFile("../../../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	_, changelog, _ := strings.Cut(string(text), "\n## CHANGELOG\n")
	named := regexp.MustCompile(`\(interface ([0-9a-f]{8})\)`).FindAllStringSubmatch(changelog, -1)
	if len(named) == 0 || named[len(named)-1][1] != now {
		t.Errorf("the method's version, an exit code, a migration or a key of the JSON has changed: add an entry to the "+
			"CHANGELOG in DEVELOPERS.md that says how, ending in (interface %s)", now)
	}
}

// reliedOn lists it, sorted, one thing a line.
func reliedOn(t *testing.T) []string {
	t.Helper()
	var all []string
	kinds := map[string]int{}
	add := func(kind, what string) {
		kinds[kind]++
		all = append(all, kind+" "+what)
	}
	err := filepath.WalkDir("../../..", func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && (d.Name() == "build" || d.Name() == "testdata" || strings.HasPrefix(d.Name(), ".") && d.Name() != ".."):
			return filepath.SkipDir
		case filepath.Base(filepath.Dir(path)) == "migrations":
			text, err := os.ReadFile(path)
			add("migration", fmt.Sprintf("%s %x", d.Name(), sha256.Sum256(text)))
			return err
		case !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go"):
			return nil
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			return err
		}
		ast.Inspect(file, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.Field:
				if key := jsonKey(n); key != "" {
					add("key", key)
				}
			case *ast.ValueSpec:
				for i, name := range n.Names {
					if name.Name == "MethodVersion" || strings.HasPrefix(name.Name, "exit") {
						add("constant", constant(name.Name, n.Values, i))
					}
				}
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if kinds["key"] < 100 || kinds["migration"] < 5 || kinds["constant"] < 5 {
		t.Fatalf("too little was found to hold: %v", kinds)
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// jsonKey is the key that a field has in JSON, "" for none.
func jsonKey(f *ast.Field) string {
	if f.Tag == nil {
		return ""
	}
	tag, err := strconv.Unquote(f.Tag.Value)
	if err != nil {
		return ""
	}
	key, _, _ := strings.Cut(reflect.StructTag(tag).Get("json"), ",")
	return key
}

// constant is a constant with its value, where it is a plain one.
func constant(name string, values []ast.Expr, i int) string {
	if i < len(values) {
		if v, ok := values[i].(*ast.BasicLit); ok {
			return name + " = " + v.Value
		}
	}
	return name
}
