package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"
)

// README's first page runs as it is pasted: every command of it, in its order.
func TestCommandsOfTheReadmeRun(t *testing.T) {
	if testing.Short() {
		t.Skip("it measures and hunts: ten seconds of the processor")
	}
	t.Parallel()
	var script strings.Builder
	commands := 0
	for _, block := range regexp.MustCompile("(?s)```sh\n(.*?)```").FindAllStringSubmatch(readmeText(t), -1) {
		for _, line := range strings.Split(strings.TrimSpace(block[1]), "\n") {
			commands++
			fmt.Fprintf(&script, "%s || exit 1\n", line)
		}
	}
	if commands < 15 {
		t.Fatalf("README has %d commands to paste", commands)
	}
	dir := t.TempDir()
	cmd := exec.Command("sh", "-xc", script.String())
	cmd.Dir, cmd.Env = dir, append(os.Environ(), "XDG_DATA_HOME="+filepath.Join(dir, "data"))
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
}

// README's table names each topic of the manual, and no other.
func TestReadmeNamesEachTopic(t *testing.T) {
	readme := readmeText(t)
	a := newApp(strings.NewReader(""), &bytes.Buffer{}, &bytes.Buffer{})
	topics := a.helpTopics()
	for _, topic := range topics {
		if link := fmt.Sprintf("| [%s](cmd/boardproof/help/%[1]s.md) |", topic.Name()); !strings.Contains(readme, link) {
			t.Errorf("README does not name %s as %q", topic.Name(), link)
		}
	}
	if n := strings.Count(readme, "| ["); n != len(topics) {
		t.Errorf("README names %d topics of %d", n, len(topics))
	}
}

// Each topic fits its page, and none hides behind a command of its name.
func TestTopicsFitThePage(t *testing.T) {
	for _, columns := range []int{60, 100} {
		var out bytes.Buffer
		a := newApp(strings.NewReader(""), &out, &out)
		for _, topic := range a.helpTopics() {
			out.Reset()
			a.run(context.Background(), []string{"help", topic.Name()})
			if !strings.HasPrefix(out.String(), topic.Short+"\n") {
				t.Errorf("'help %s' prints %.60q", topic.Name(), out.String())
			}
			out.Reset()
			a.columns = columns
			topic.HelpFunc()(topic, nil)
			for _, line := range strings.Split(out.String(), "\n") {
				if n := utf8.RuneCountInString(line); n > columns && !strings.HasPrefix(line, "    ") {
					t.Errorf("%s at %d columns has a line of %d: %s", topic.Name(), columns, n, line)
				}
			}
		}
	}
}

func readmeText(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
