package jacktest

import (
	"os/exec"
	"syscall"
)

// tether ends a program with this process even where the process crashes.
func tether(cmd *exec.Cmd) { cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGTERM} }
