package db

import (
	"context"
	"slices"
	"strings"
)

// maxNear is how many names are suggested at most.
const maxNear = 3

type label struct{ label, key string }

func labelsOf(ls []label) []string {
	var names []string
	for _, l := range ls {
		names = append(names, l.label)
	}
	return names
}

func (s *Store) labels(ctx context.Context, query string, args ...any) ([]label, error) {
	return collect(ctx, s.db, func(row scanner) (label, error) {
		var l label
		err := row.Scan(&l.label, &l.key)
		return l, err
	}, query, args...)
}

// nearest gives up to maxNear labels that key may have been meant for: those
// that contain it, and those a few slips of the keyboard away, nearest first.
func nearest(key string, all []label) []string {
	type candidate struct {
		label
		slips int
	}
	var near []candidate
	for _, l := range all {
		slips := distance(key, l.key)
		contains := len(key) > 1 && strings.Contains(l.key, key)
		if contains || slips <= 1+len(key)/4 {
			near = append(near, candidate{l, slips})
		}
	}
	slices.SortStableFunc(near, func(a, b candidate) int { return a.slips - b.slips })
	var names []string
	for _, c := range near[:min(len(near), maxNear)] {
		names = append(names, c.label.label)
	}
	return names
}

// distance counts the letters to change, add or drop to get from a to b
// (Levenshtein).
func distance(a, b string) int {
	from, to := []rune(a), []rune(b)
	row := make([]int, len(to)+1)
	for j := range row {
		row[j] = j
	}
	for i, r := range from {
		corner := row[0]
		row[0] = i + 1
		for j, q := range to {
			change := corner
			if r != q {
				change++
			}
			corner = row[j+1]
			row[j+1] = min(change, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(to)]
}
