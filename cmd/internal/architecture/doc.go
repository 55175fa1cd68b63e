// Package architecture holds the tree to what DEVELOPERS.md says of it.
//
// In this room: tests alone, of which package may import which, and of what may
// not change without an entry in the changelog. Not in this room: code that runs.
package architecture
