package workshop

import (
	"context"

	"boardproof/analysis/verdict"
	"boardproof/db"
)

// AddBoard registers a board, with the default plan.
func (w *Workshop) AddBoard(ctx context.Context, b db.Board) (db.Board, error) {
	b, err := w.Store.AddBoard(ctx, b)
	if err != nil {
		return b, err
	}
	_, err = w.Store.SavePlan(ctx, b.ID, verdict.DefaultPlanTOML)
	return b, err
}

// BoardState is a board with what is odd about its chain, and its runs.
type BoardState struct {
	Board    db.Board `json:"board"`
	Runs     []db.Run `json:"runs"`
	Warnings []string `json:"warnings"`
}

// BoardState is how a board stands. No list of it is nil.
func (w *Workshop) BoardState(ctx context.Context, b db.Board) (BoardState, error) {
	runs, err := w.Store.Runs(ctx, b.ID)
	return BoardState{b, append([]db.Run{}, runs...), append([]string{}, db.ChainWarnings(b.Chain)...)}, err
}

// Edited is a board that was changed, with what is odd about its chain now.
type Edited struct {
	Board    db.Board   `json:"board"`
	Events   []db.Event `json:"events"`
	Warnings []string   `json:"warnings"`
}

// EditBoard changes a board. What it was stays in its life. No list of what it
// returns is nil.
func (w *Workshop) EditBoard(ctx context.Context, was db.Board, e db.BoardEdit) (Edited, error) {
	b, events, err := w.Store.EditBoard(ctx, was.ID, e)
	return Edited{b, append([]db.Event{}, events...), append([]string{}, db.ChainWarnings(b.Chain)...)}, err
}
