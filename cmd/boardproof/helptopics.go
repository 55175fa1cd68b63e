package main

import (
	"embed"
	"io/fs"
	"path"
	"regexp"
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"
)

// The manual, a file a topic. README's table names each.
//
//go:embed help/*.md
var manual embed.FS

// helpTopics are commands that do nothing but have their topic printed by
// 'boardproof help TOPIC'.
func (a *app) helpTopics() []*cobra.Command {
	files, _ := fs.Glob(manual, "help/*.md") // the pattern is right
	var topics []*cobra.Command
	for _, name := range files {
		text, _ := manual.ReadFile(name) // it was just listed, in this program
		title, body, _ := strings.Cut(strings.TrimPrefix(string(text), "# "), "\n")
		topic := &cobra.Command{Use: strings.TrimSuffix(path.Base(name), ".md"), Short: title}
		topic.SetHelpFunc(func(*cobra.Command, []string) { a.printTopic(title, body) })
		topics = append(topics, topic)
	}
	return topics
}

// printTopic prints a topic as wide as the page: paragraphs and items are filled,
// what is indented by four stands as it is.
func (a *app) printTopic(title, body string) {
	a.printf("%s\n%s\n", title, strings.Repeat("=", utf8.RuneCountInString(title)))
	for _, block := range strings.Split(strings.Trim(body, "\n"), "\n\n") {
		a.printf("\n")
		switch {
		case strings.HasPrefix(block, "    "):
			a.printf("%s\n", block)
		case strings.HasPrefix(block, "> "):
			a.wrapped("! ", plainText(strings.ReplaceAll(block, "\n> ", "\n")[2:]))
		case strings.HasPrefix(block, "- "):
			for _, item := range strings.Split("\n"+block, "\n- ")[1:] {
				a.wrapped("- ", plainText(item))
			}
		default:
			a.wrapped("", plainText(block))
		}
	}
}

// code is a piece of code in the manual, flags apart.
var code = regexp.MustCompile("`([^-`][^`]*)`")

// plainText is a text of the manual without its marks: code stands in quotes, but
// for flags, which nobody takes for words.
func plainText(text string) string {
	return strings.NewReplacer("**", "", "`", "").Replace(code.ReplaceAllString(text, "'$1'"))
}
