package architecture

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/exec"
	"path"
	"slices"
	"strings"
	"testing"
)

const module = "boardproof"

// room is a row of the table of rooms.
type room struct {
	// at is its folder, as in analysis/hunt.
	at string
	// may are the folders it may import, as in analysis, or with what is below,
	// as in analysis/…; "everything" is all of them.
	may []string
}

// Each package imports what its row of the table in DEVELOPERS.md allows, and
// each has a row.
func TestRoomsImportWhatTheTableSays(t *testing.T) {
	rooms := roomsOfTable(t)
	if len(rooms) < 10 {
		t.Fatalf("only %d rooms were found in the table", len(rooms))
	}
	for at, imports := range importsOfPackages(t) {
		r, ok := rooms[at]
		if !ok {
			t.Errorf("%s has no row in the table of rooms in DEVELOPERS.md", at)
			continue
		}
		delete(rooms, at)
		for _, i := range imports {
			if !r.allows(i) {
				t.Errorf("%s imports %s, the table of rooms in DEVELOPERS.md allows only %s", at, i, strings.Join(r.may, ", "))
			}
		}
	}
	for at := range rooms {
		t.Errorf("the table of rooms in DEVELOPERS.md has %s, which is no package", at)
	}
}

func (r room) allows(imported string) bool {
	return slices.ContainsFunc(r.may, func(m string) bool {
		above, all := strings.CutSuffix(m, "/…")
		return m == "everything" || imported == above || all && strings.HasPrefix(imported, above+"/")
	})
}

// roomsOfTable reads the rows, each of which begins with a folder in code marks.
func roomsOfTable(t *testing.T) map[string]room {
	t.Helper()
	text, err := os.ReadFile("../../../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	_, table, found := strings.Cut(string(text), "| room | holds | may import | never |\n")
	if !found {
		t.Fatal("DEVELOPERS.md has no table of rooms")
	}
	table, _, _ = strings.Cut(table, "\n\n")
	rooms := map[string]room{}
	for _, line := range strings.Split(table, "\n")[1:] {
		cells := strings.Split(line, "|")
		if len(cells) < 4 {
			t.Fatalf("the row %q has %d cells", line, len(cells))
		}
		r := room{at: folder(cells[1])}
		for _, m := range strings.Split(cells[3], ",") {
			if m = folder(m); m != "" && m != "nothing of ours" {
				r.may = append(r.may, m)
			}
		}
		rooms[r.at] = r
	}
	return rooms
}

func folder(cell string) string {
	return strings.Trim(cell, " `/")
}

// importsOfPackages are the imports of ours that each package has, tests apart.
func importsOfPackages(t *testing.T) map[string][]string {
	t.Helper()
	cmd := exec.Command("go", "list", "-json=ImportPath,Imports,GoFiles", "./...")
	cmd.Dir = "../../.."
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("listing the packages: %v", err)
	}
	imports := map[string][]string{}
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p struct {
			ImportPath       string
			Imports, GoFiles []string
		}
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			return imports
		} else if err != nil {
			t.Fatal(err)
		}
		at := strings.TrimPrefix(p.ImportPath, module+"/")
		imports[at] = nil
		for _, i := range p.Imports {
			if inside, ok := strings.CutPrefix(i, module+"/"); ok {
				imports[at] = append(imports[at], path.Clean(inside))
			}
		}
	}
}
