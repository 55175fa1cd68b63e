package sheet

import (
	"bytes"
	"fmt"
	"strings"

	"boardproof/cmd/boardproof/internal/report"
)

// Finding is what checking a copy came to.
type Finding string

// The findings.
const (
	// Genuine: byte for byte what the store's run gives, whichever version of
	// the program made it.
	Genuine Finding = "genuine"
	// Altered: not what this program made of that run.
	Altered Finding = "altered"
	// OtherRun: the store has a run of that name with another digest.
	OtherRun Finding = "other run"
	// OtherMaker: another version of the program wrote it; what it carries
	// agrees with the store, its pages could not be compared.
	OtherMaker Finding = "other version"
)

// Checked is a finding with the reasons for it.
type Checked struct {
	Finding Finding  `json:"finding"`
	Why     []string `json:"why,omitempty"`
}

// Check holds a file, and what it carries, against the source that the store
// has for the run it names.
func Check(file []byte, c Carried, s Source) (Checked, error) {
	if c.Run != s.Run.ID || c.Digest != s.Digest {
		return Checked{OtherRun, []string{fmt.Sprintf("the file says digest %s, the store has %s", short(c.Digest), short(s.Digest))}}, nil
	}
	want, err := makeAs(s, c.Options, c.Maker)
	if err != nil {
		return Checked{Altered, []string{err.Error()}}, nil
	}
	if bytes.Equal(file, want) {
		return Checked{Finding: Genuine}, nil
	}
	why := differences(c, carried(s, c.Options, c.Maker))
	if c.Maker == maker() {
		if line := firstChange(file, want); c.Options.Form == HTML && line != "" {
			why = append(why, line)
		}
		if len(why) == 0 {
			why = []string{"the figures it carries agree, but the pages are not those that were made: changed, or saved anew by another program"}
		}
		return Checked{Altered, why}, nil
	}
	if !sealHolds(file, c.Seal) {
		why = append(why, "the file is not as it was when it was sealed: changed, or saved anew by another program")
	}
	if len(why) > 0 {
		return Checked{Altered, why}, nil
	}
	return Checked{OtherMaker, []string{
		fmt.Sprintf("made by %s, this is %s", c.Maker, maker()),
		fmt.Sprintf("its seal holds and %s that it carries: as in the store; the pages themselves could not be compared", report.Count(len(c.Figures), "figure"))}}, nil
}

// mostDifferences is how many are told.
const mostDifferences = 5

// differences are between what a file carries and what the store has.
func differences(have, want Carried) []string {
	var all []string
	if have.Verdict != want.Verdict {
		all = append(all, fmt.Sprintf("verdict: the file says %q, the store %q", have.Verdict, want.Verdict))
	}
	if len(have.Figures) != len(want.Figures) {
		return append(all, fmt.Sprintf("the file carries %s, the store has %d", report.Count(len(have.Figures), "figure"), len(want.Figures)))
	}
	for i, w := range want.Figures {
		if h := have.Figures[i]; h != w {
			all = append(all, fmt.Sprintf("%s: the file says %s, limit %s, %s; the store %s, limit %s, %s", w.What, h.Value, h.Limit, h.Verdict, w.Value, w.Limit, w.Verdict))
		}
	}
	if len(all) > mostDifferences {
		all = append(all[:mostDifferences], fmt.Sprintf("and %d more", len(all)-mostDifferences))
	}
	return all
}

// firstChange is the first line in which two texts differ outside of what they
// carry for programs.
func firstChange(have, want []byte) string {
	h, w := strings.Split(string(have), "\n"), strings.Split(string(want), "\n")
	for i := range w {
		if i >= len(h) {
			return "the file ends early"
		}
		if h[i] != w[i] && !strings.HasPrefix(w[i], htmlBegin) {
			a, b := around(h[i], w[i])
			return fmt.Sprintf("first change, line %d: the file has “%s”, it was “%s”", i+1, a, b)
		}
	}
	return ""
}

// around is what stands about the first difference of two lines.
func around(a, b string) (string, string) {
	x, y := []rune(a), []rune(b)
	at := 0
	for at < len(x) && at < len(y) && x[at] == y[at] {
		at++
	}
	const before, after = 20, 40
	from := max(0, at-before)
	return string(x[from:min(len(x), at+after)]), string(y[from:min(len(y), at+after)])
}
