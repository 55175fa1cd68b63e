-- +goose Up
-- The nominal frequency of the mains at a bench, 50 or 60; 0 where it was not named.
ALTER TABLE benches ADD COLUMN mains_hz INTEGER NOT NULL DEFAULT 0;
