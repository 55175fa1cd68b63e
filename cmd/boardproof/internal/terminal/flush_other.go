//go:build !linux

package terminal

// flushTyped does nothing where the terminal cannot be told to forget: there
// only what the program has read already is thrown away.
func flushTyped(int) {}
