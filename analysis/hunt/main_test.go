package hunt_test

import (
	"flag"
	"os"
	"testing"
)

// A weighing takes tens of milliseconds: fewer checks than rapid's 100, where
// nobody asks for more.
func TestMain(m *testing.M) {
	if err := flag.Set("rapid.checks", "12"); err != nil {
		panic(err)
	}
	flag.Parse()
	os.Exit(m.Run())
}
