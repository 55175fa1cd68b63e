package workshop

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"boardproof/analysis"
	"boardproof/db"
)

// betweenRuns says what else differs between two runs of a board, a line each.
func (w *Workshop) betweenRuns(ctx context.Context, then, now db.Run) ([]string, error) {
	lines := chainChanges(then.BoardAsWas.Chain, now.BoardAsWas.Chain)
	plan, err := w.planChange(ctx, then, now)
	if err != nil {
		return nil, err
	}
	lines = append(lines, plan)
	switch {
	case then.Bench != now.Bench:
		lines = append(lines, fmt.Sprintf("bench: %s then, %s now", then.Bench, now.Bench))
	case then.ProfileID != now.ProfileID:
		lines = append(lines, fmt.Sprintf("bench: %s both times, calibrated anew: profile %s then, %s now", now.Bench, orNone(then.ProfileID), orNone(now.ProfileID)))
	case now.ProfileID == "":
		lines = append(lines, fmt.Sprintf("bench: %s without a profile both times, so nothing says what the bench itself was off by", now.Bench))
	default:
		lines = append(lines, fmt.Sprintf("bench: %s with profile %s both times, so what that is off by cancels", now.Bench, now.ProfileID))
	}
	if !slices.Equal(inputsOf(then), inputsOf(now)) {
		lines = append(lines, fmt.Sprintf("inputs: %v then, %v now", inputsOf(then), inputsOf(now)))
	}
	if then.MethodVersion != now.MethodVersion {
		lines = append(lines, fmt.Sprintf("method: version %s then, %s now: nothing cancels", then.MethodVersion, now.MethodVersion))
	}
	return append(lines, checksBetween(then, now)...), nil
}

func orNone(s string) string {
	if s == "" {
		return "none"
	}
	return s
}

// chainChanges compares devices by name.
func chainChanges(then, now []db.Device) []string {
	var lines []string
	find := func(in []db.Device, name string) int {
		return slices.IndexFunc(in, func(d db.Device) bool { return strings.EqualFold(d.Name, name) })
	}
	var kept, order []string
	for _, d := range then {
		switch i := find(now, d.Name); {
		case i < 0:
			lines = append(lines, fmt.Sprintf("chain: %s (%s) is gone", d.Name, d.Kind))
		default:
			kept = append(kept, now[i].Name)
			if now[i] != d {
				lines = append(lines, fmt.Sprintf("chain: %s was %s, is %s", d.Name, deviceWords(d), deviceWords(now[i])))
			}
		}
	}
	for i, d := range now {
		if find(then, d.Name) < 0 {
			lines = append(lines, fmt.Sprintf("chain: %s (%s) is new, at place %d", d.Name, d.Kind, i+1))
		} else {
			order = append(order, d.Name)
		}
	}
	if !slices.Equal(kept, order) {
		lines = append(lines, "chain: in another order: "+strings.Join(order, ", "))
	}
	if len(lines) == 0 {
		lines = append(lines, "chain: the same")
	}
	return lines
}

func deviceWords(d db.Device) string {
	return strings.TrimSpace(fmt.Sprintf("%s %g V %g mA %s", d.Kind, d.SupplyV, d.SupplyMA, d.Plug))
}

func (w *Workshop) planChange(ctx context.Context, then, now db.Run) (string, error) {
	version := func(r db.Run) (int, error) {
		if r.PlanID == 0 {
			return 0, nil
		}
		p, err := w.Store.Plan(ctx, r.PlanID)
		return p.Version, err
	}
	was, err1 := version(then)
	is, err2 := version(now)
	switch err := errors.Join(err1, err2); {
	case err != nil:
		return "", err
	case was == is:
		return fmt.Sprintf("plan: version %d both times", is), nil
	}
	return fmt.Sprintf("plan: version %d then, %d now", was, is), nil
}

// checksBetween says what the checks before use saw the bench do.
func checksBetween(then, now db.Run) []string {
	var lines []string
	for _, n := range now.Readings {
		for _, t := range then.Readings {
			if n.Quantity == analysis.BenchGainDrift && t.Quantity == n.Quantity && t.Output == n.Output {
				lines = append(lines, fmt.Sprintf("bench check, input of output %s: %+.3f dB then, %+.3f dB now", n.Output, t.Value, n.Value))
			}
		}
	}
	return lines
}
