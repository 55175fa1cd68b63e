//go:build unix && !linux

package jacktest

import "os/exec"

// tether does nothing where the system has no such thing.
func tether(*exec.Cmd) {}
