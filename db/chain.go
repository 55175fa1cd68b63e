package db

import (
	"fmt"
	"strings"
)

// ChainWarnings says, one line each, where a chain has a buffer ahead of an
// impedance-sensitive fuzz: such a fuzz must see the guitar's own impedance
// (common practice). A kind that has the word "buffer" or "buffered" in it
// buffers, also when bypassed; one that has "fuzz" in it is taken as
// sensitive unless it is buffered itself.
func ChainWarnings(chain []Device) []string {
	var warnings []string
	buffer := ""
	for _, d := range chain {
		buffers := hasWord(d.Kind, "buffer", "buffered")
		if hasWord(d.Kind, "fuzz") && !buffers && buffer != "" {
			warnings = append(warnings, fmt.Sprintf(
				"%q buffers the signal ahead of the fuzz %q, which should see the guitar directly: put the fuzz first",
				buffer, d.Name))
		}
		if buffers && buffer == "" {
			buffer = d.Name
		}
	}
	return warnings
}

func hasWord(text string, words ...string) bool {
	isSeparator := func(r rune) bool { return r < 'a' || r > 'z' }
	for _, field := range strings.FieldsFunc(strings.ToLower(text), isSeparator) {
		for _, w := range words {
			if field == w {
				return true
			}
		}
	}
	return false
}
