// Package crb runs the tests that hold the estimators to their Cramér-Rao
// bounds, with many records, and gathers the ratios that they log.
package crb

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"boardproof/cmd/trial/internal/trials"
)

// Program is 'trial crb'.
func Program() trials.Program {
	return trials.Program{
		Name: "crb", Does: "the estimators' variance over the Cramér-Rao bound, and what noise alone does to them",
		Plan: trials.Plan{What: "records", Trials: 4000}, Run: run,
	}
}

func run(ctx context.Context, p trials.Plan) (trials.Figures, error) {
	var log bytes.Buffer
	out := io.MultiWriter(p.Out, &log)
	failed := errors.Join(
		tests(ctx, out, p.Trials, "BoundOf"),
		tests(ctx, out, max(2, p.Trials/4), "CramerRaoBound|UnderTheComb|UnderTheNoise|NoiseAlone|HissIsNotBiased"))
	found, err := inShort(log.String())
	return trials.Figures{Of: fmt.Sprintf("%d records", p.Trials), Found: found}, errors.Join(failed, err)
}

// tests runs those of analysis that match with so many records.
func tests(ctx context.Context, w io.Writer, records int, match string) error {
	c := exec.CommandContext(ctx, "go", "test", "./analysis", "-run", match, "-v", "-count=1", "-timeout", "60m")
	c.Env = append(os.Environ(), fmt.Sprintf("CRB_TRIALS=%d", records))
	c.Stdout, c.Stderr = w, w
	if err := c.Run(); err != nil {
		return fmt.Errorf("testing %s: %w", match, err)
	}
	return nil
}

// logged is a ratio as crb_test.go logs it: quantity, signal-to-noise ratio, ratio.
var logged = regexp.MustCompile(`(?m)^\s+crb_test\.go:\d+: (\S.*?)\s+(\d+) dB\s+([\d.]+) ± `)

// inShort gives the largest ratio of each quantity.
func inShort(log string) (string, error) {
	most := map[string]float64{}
	var names []string
	for _, m := range logged.FindAllStringSubmatch(log, -1) {
		ratio, err := strconv.ParseFloat(m[3], 64)
		if err != nil {
			return "", fmt.Errorf("reading the ratio of %s: %w", m[1], err)
		}
		if !slices.Contains(names, m[1]) {
			names = append(names, m[1])
		}
		most[m[1]] = max(most[m[1]], ratio)
	}
	if len(names) == 0 {
		return "", errors.New("the tests logged no ratio")
	}
	slices.Sort(names)
	var parts []string
	for _, name := range names {
		parts = append(parts, fmt.Sprintf("%s %.3f", name, most[name]))
	}
	return "variance over the bound, at most: " + strings.Join(parts, ", "), nil
}
