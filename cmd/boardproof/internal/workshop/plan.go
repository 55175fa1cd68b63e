package workshop

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"boardproof/analysis/verdict"
	"boardproof/cmd/boardproof/internal/procedure"
	"boardproof/db"
)

// Plan is a board and the latest version of its plan.
func (w *Workshop) Plan(ctx context.Context, board string) (db.Board, db.Plan, error) {
	b, err := w.Store.FindBoard(ctx, board)
	if err != nil {
		return db.Board{}, db.Plan{}, err
	}
	p, err := w.Store.LatestPlan(ctx, b.ID)
	return b, p, err
}

// KeepPlan keeps text as the new version of a board's plan, if it is another.
// old is the version that was changed.
func (w *Workshop) KeepPlan(ctx context.Context, b db.Board, old db.Plan, text []byte) (kept db.Plan, isNew bool, err error) {
	if bytes.Equal(text, []byte(old.Text)) {
		return old, false, nil
	}
	plan, err := verdict.ParsePlan(text)
	if err == nil {
		err = plan.CheckOutputs(b.Outputs)
	}
	if err == nil {
		err = procedure.CheckPlanWords(plan)
	}
	if err == nil {
		err = checkPlanTexts(plan)
	}
	if err != nil {
		return old, false, invalidf("the plan was not kept: %w", err)
	}
	kept, err = w.Store.SavePlan(ctx, b.ID, text)
	return kept, true, err
}

// CheckPlan reads a plan and refuses what would hurt somebody.
func CheckPlan(text []byte) (verdict.Plan, error) {
	plan, err := verdict.ParsePlan(text)
	if err == nil {
		err = procedure.CheckPlanWords(plan)
	}
	return plan, err
}

// planOfRun is the plan that a run followed, none where it followed none.
func (w *Workshop) planOfRun(ctx context.Context, run db.Run) (verdict.Plan, error) {
	if run.PlanID == 0 {
		return verdict.Plan{}, nil
	}
	kept, err := w.Store.Plan(ctx, run.PlanID)
	if err != nil {
		return verdict.Plan{}, err
	}
	return verdict.ParsePlan([]byte(kept.Text))
}

// checkPlanTexts looks at texts once they are read: a plan may hold what nobody
// sees as an escape.
func checkPlanTexts(plan verdict.Plan) error {
	text, err := json.Marshal(plan)
	if err != nil {
		return err
	}
	for words := json.NewDecoder(bytes.NewReader(text)); ; {
		switch word, err := words.Token(); {
		case errors.Is(err, io.EOF):
			return nil
		case err != nil:
			return err
		default:
			if s, ok := word.(string); ok {
				if how := db.TextFault(s, db.MaxNotes, true); how != "" {
					return fmt.Errorf(`the text "%s" %s`, strings.TrimSpace(db.Visible(beginning(s))), how)
				}
			}
		}
	}
}

// beginning is as much of a text as it takes to find it.
func beginning(text string) string {
	const most = 30
	if letters := []rune(text); len(letters) > most {
		return string(letters[:most-1]) + "…"
	}
	return text
}
