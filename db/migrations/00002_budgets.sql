-- +goose Up
-- What a reading's uncertainty consists of, JSON of analysis.Budget; empty
-- where that was not kept.
ALTER TABLE readings ADD COLUMN budget TEXT NOT NULL DEFAULT '';
-- The chance that a conditional verdict is wrong, 0 to 1; null for others.
ALTER TABLE readings ADD COLUMN chance_wrong REAL;
