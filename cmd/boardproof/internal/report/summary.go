package report

import (
	"fmt"
	"strings"

	"boardproof/analysis/verdict"
)

// Summary is the outcome of all limits in one line, such as "FAIL: 2 of 31
// limits: polarity match B against A; level match B against A".
func Summary(rows []verdict.Judged) string {
	names := map[verdict.Outcome][]string{}
	limits := 0
	for _, j := range rows {
		if j.Verdict == "" {
			continue
		}
		limits++
		what := What(j.Reading)
		if j.Verdict == verdict.ConditionalFail {
			what += " (conditional)"
		}
		names[j.Verdict] = append(names[j.Verdict], what)
	}
	failed := append(names[verdict.Fail], names[verdict.ConditionalFail]...)
	missing, conditional := names[verdict.NotMeasured], names[verdict.ConditionalPass]
	var parts []string
	if len(failed) > 0 {
		parts = append(parts, fmt.Sprintf("FAIL: %d of %s: %s", len(failed), count(limits, "limit"), strings.Join(failed, "; ")))
	}
	if len(missing) > 0 {
		parts = append(parts, fmt.Sprintf("NOT MEASURED: %d of %s: %s", len(missing), count(limits, "limit"), strings.Join(missing, "; ")))
	}
	switch {
	case len(parts) > 0:
		return strings.Join(parts, ". ")
	case len(rows) == 0:
		return "nothing measured"
	case limits == 0:
		return count(len(rows), "reading") + ", no limits set"
	case len(conditional) > 0:
		return fmt.Sprintf("PASS: %s, %d of them conditional: %s", count(limits, "limit"), len(conditional), strings.Join(conditional, "; "))
	}
	return "PASS: " + count(limits, "limit")
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
