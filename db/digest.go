package db

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"time"

	"boardproof/analysis"
	"boardproof/analysis/verdict"

	"github.com/go-json-experiment/json/jsontext"
)

// Named are the digests of what a run names, by which it is the same run in
// every store: ids are given by each store anew. Each is empty where the run
// names none.
type Named struct {
	Profile    string // ProfileDigest
	Plan       string // SHA-256 of the plan's text
	Corrects   string // Digest of that run
	Recomputes string // Digest of that run
}

// runFormat is the version of runBody.
const runFormat = "boardproof-run/1"

// runBody is a run as its digest sees it and as an archive carries it: without
// the ids of the store that it is in. A field that is added must be left out
// of the JSON where it is empty, here and in every type below, or the digests
// of the runs that are kept already change: TestDigestStays sees it.
type runBody struct {
	Format        string             `json:"format"`
	Board         Board              `json:"board"` // as it was; without its id
	Bench         string             `json:"bench"`
	Profile       string             `json:"profile,omitempty"`
	Plan          string             `json:"plan,omitempty"`
	Simulated     bool               `json:"simulated"`
	Operator      string             `json:"operator,omitempty"`
	Started       time.Time          `json:"started"`
	Finished      time.Time          `json:"finished"`
	MethodVersion string             `json:"method_version"`
	Corrects      string             `json:"corrects,omitempty"`
	Recomputes    string             `json:"recomputes,omitempty"`
	Verdict       verdict.Outcome    `json:"verdict,omitempty"`
	Notes         string             `json:"notes,omitempty"`
	Readings      []verdict.Judged   `json:"readings,omitempty"`
	Curves        []analysis.Curve   `json:"curves,omitempty"`
	Refused       []analysis.Refusal `json:"refused,omitempty"`
	Takes         []TakeRef          `json:"takes,omitempty"`
}

// Digest is the SHA-256, in hexadecimal, of all that makes a whole run what it
// is: the board as it was, bench, the digests of profile and plan and of the
// run it corrects or recomputes, operator, times, every reading, curve and
// refusal, and the hash of every take. Run ids and other names that each store
// gives are not in it: a run that was imported keeps its digest.
//
// r is a run as SaveRun or FindRun returns it. The digest is "" where a figure
// of r is no number, and such a run is never kept.
//
// What is hashed is one line of JSON: the keys of every object sorted, no
// white space, UTF-8, numbers in the shortest form that reads back the same,
// as ECMAScript writes them.
func Digest(r Run) string {
	text, err := r.canonical()
	if err != nil {
		return ""
	}
	return hexSHA(text)
}

// canonical is the line that Digest hashes.
func (r Run) canonical() ([]byte, error) {
	b := runBody{
		Format: runFormat, Board: r.BoardAsWas, Bench: r.Bench, Profile: r.Named.Profile, Plan: r.Named.Plan,
		Simulated: r.Simulated, Operator: r.Operator, Started: r.Started.UTC(), Finished: r.Finished.UTC(),
		MethodVersion: r.MethodVersion, Corrects: r.Named.Corrects, Recomputes: r.Named.Recomputes,
		Verdict: r.Verdict, Notes: r.Notes, Curves: r.Curves, Refused: r.Refused, Takes: r.Takes,
	}
	for _, j := range r.Readings {
		// Neither is kept.
		j.Settles = ""
		if j.Limit != nil && j.Limit.Min == nil && j.Limit.Max == nil {
			j.Limit = nil
		}
		b.Readings = append(b.Readings, j)
	}
	return canonicalJSON(b, "board", "id")
}

// canonicalJSON writes v as Digest says, without the member that path leads
// to: RFC 8785, but for the two separators below.
func canonicalJSON(v any, without ...string) ([]byte, error) {
	text, err := json.Marshal(v)
	if err != nil {
		return nil, err
	}
	if len(without) > 0 {
		var plain any
		if err := json.Unmarshal(text, &plain); err != nil {
			return nil, err
		}
		drop(plain, without)
		if text, err = json.Marshal(plain); err != nil {
			return nil, err
		}
	}
	out := jsontext.Value(text)
	if err := out.Canonicalize(); err != nil {
		return nil, err
	}
	return escapedSeparators(out), nil
}

func drop(v any, path []string) {
	m, ok := v.(map[string]any)
	switch {
	case !ok || len(path) == 0:
	case len(path) == 1:
		delete(m, path[0])
	default:
		drop(m[path[0]], path[1:])
	}
}

// escapedSeparators writes the line and the paragraph separator, which RFC 8785
// leaves as they are, escaped: so did the encoder that made the digests which
// stand in stores. They occur inside of strings only.
func escapedSeparators(text []byte) []byte {
	text = bytes.ReplaceAll(text, []byte("\u2028"), []byte(`\u2028`))
	return bytes.ReplaceAll(text, []byte("\u2029"), []byte(`\u2029`))
}

func hexSHA(text []byte) string {
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}

// profileText is a profile, body as kept, as its digest sees it: without the
// id that the store gave it.
func profileText(body string) ([]byte, error) {
	return canonicalJSON(json.RawMessage(body), "id")
}

// profileDigest is the SHA-256 of a profile without its id.
func profileDigest(body string) (string, error) {
	text, err := profileText(body)
	if err != nil {
		return "", fmt.Errorf("reading a profile: %w", err)
	}
	return hexSHA(text), nil
}

// name fills in the digests of what r names.
func (r *Run) name(ctx context.Context, q querier) (err error) {
	r.Named = Named{}
	if r.ProfileID != "" {
		if r.Named.Profile, err = keptProfileDigest(ctx, q, r.ProfileID); err != nil {
			return fmt.Errorf("the digest of profile %s: %w", r.ProfileID, err)
		}
	}
	if r.PlanID != 0 {
		p, err := scanPlan(q.QueryRowContext(ctx, sqlPlan, r.PlanID))
		if err != nil {
			return fmt.Errorf("the digest of its plan: %w", err)
		}
		r.Named.Plan = hexSHA([]byte(p.Text))
	}
	if r.Named.Corrects, err = keptRunDigest(ctx, q, r.Corrects); err != nil {
		return err
	}
	r.Named.Recomputes, err = keptRunDigest(ctx, q, r.Recomputes)
	return err
}

// keptProfileDigest makes the digest of a profile that was kept before there
// were any.
func keptProfileDigest(ctx context.Context, q querier, id string) (string, error) {
	digest, err := scanText(q.QueryRowContext(ctx, sqlProfileDigest, id))
	if err != nil || digest != "" {
		return digest, err
	}
	return profileDigestNow(ctx, q, id)
}

// keptRunDigest is "" for no id, and made anew for runs that were kept before
// there were digests.
func keptRunDigest(ctx context.Context, q querier, id string) (string, error) {
	if id == "" {
		return "", nil
	}
	r, err := scanRun(q.QueryRowContext(ctx, sqlRun, id))
	if err == nil && r.Digest == "" {
		err = r.load(ctx, q)
	}
	if err != nil {
		return "", fmt.Errorf("the digest of run %s: %w", id, err)
	}
	return r.orDigest(), nil
}

// RunDigest returns the digest of a run, by its id or the beginning of it, and
// holds it against the one that was kept with the run. The error is
// ErrChanged where they differ; runs that were kept before digests were have
// none to differ from.
func (s *Store) RunDigest(ctx context.Context, id string) (string, error) {
	r, err := s.FindRun(ctx, id)
	if err != nil {
		return "", err
	}
	return r.checkedDigest()
}

func (r Run) checkedDigest() (string, error) {
	now := Digest(r)
	if r.Digest != "" && now != r.Digest {
		return now, ofKind(ErrChanged, "run %s is not as it was kept: its digest is %.16s and was %.16s; put back a copy of the store", r.ID, now, r.Digest)
	}
	return now, nil
}

// orDigest is the kept digest of a run, or for older ones its digest now.
func (r Run) orDigest() string {
	if r.Digest != "" {
		return r.Digest
	}
	return Digest(r)
}
