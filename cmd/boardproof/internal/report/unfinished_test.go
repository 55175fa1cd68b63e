package report

import (
	"os"
	"path/filepath"
	"testing"
)

// What a killed program left of a file is replaced by the next one for its path; what
// another writes just now is not touched, nor where a link leads.
func TestRemainsOfAFileAreReplaced(t *testing.T) {
	dir := t.TempDir()
	path, other := filepath.Join(dir, "board.bpa"), filepath.Join(dir, "other")
	put(t, passing(path), "a half of an archive that is longer than the whole one")
	if err := Replace([]string{path}, [][]byte{[]byte("whole")}); err != nil {
		t.Fatal(err)
	}
	holds(t, path, "whole")
	put(t, other, "elsewhere")
	if err := os.Symlink(other, passing(path)); err != nil {
		t.Fatal(err)
	}
	writing, err := CreateUnfinished(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := Replace([]string{path}, [][]byte{[]byte("a second")}); err == nil {
		t.Error("what another program writes just now was written over")
	}
	holds(t, path, "whole")
	if err := writing.GiveUp(); err != nil {
		t.Fatal(err)
	}
	holds(t, other, "elsewhere")
	if left, _ := filepath.Glob(filepath.Join(dir, ".boardproof-*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}
