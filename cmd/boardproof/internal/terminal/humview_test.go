package terminal

import (
	"strings"
	"testing"
	"unicode/utf8"

	"boardproof/analysis/hunt"
	"boardproof/cmd/boardproof/internal/talk"
)

// What is watched stays in the terminal's columns, with room for two outputs where
// there is some.
func TestHumWatchFitsTheTerminal(t *testing.T) {
	readings := []hunt.Reading{{Output: "A", Levels: map[string]hunt.Level{}}, {Output: "the amplifier at the wall", Levels: map[string]hunt.Level{}},
		{Output: "C", Reason: "no mains comb stands out of the noise, which is a long reason that does not fit into any narrow terminal at all"}}
	for columns, abreast := range map[int]int{60: 1, 80: 1, 100: 2, 120: 2, 200: 2} {
		v := &humView{columns: columns}
		v.hold.Add(readings)
		text := v.table(talk.HumRead{AtS: 3, Readings: readings})
		for _, line := range strings.Split(text, "\n") {
			if n := utf8.RuneCountInString(line); n > columns {
				t.Errorf("at %d columns a line has %d: %s", columns, n, line)
			}
		}
		if got := strings.Count(strings.Split(text, "\n")[1], "| "); got != abreast {
			t.Errorf("at %d columns %d outputs are side by side, want %d:\n%s", columns, got, abreast, text)
		}
	}
}
