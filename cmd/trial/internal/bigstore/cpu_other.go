//go:build !unix

package bigstore

import "time"

var began = time.Now()

// ownTime is the time of day where the program's own is not known.
func ownTime() time.Duration { return time.Since(began) }
