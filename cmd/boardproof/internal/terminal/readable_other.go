//go:build !unix

package terminal

import (
	"context"
	"os"
)

// waitReadable does not wait where the system cannot be asked: there a prompt
// ends with its answer only.
func waitReadable(ctx context.Context, _ *os.File) error { return ctx.Err() }

// isReadable says no where the system cannot be asked: there what is watched
// has one best and worst from its beginning.
func isReadable(*os.File) bool { return false }
