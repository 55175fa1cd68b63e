package soundcard

import (
	"os"
	"path/filepath"
	"testing"

	"boardproof/capture"
	"boardproof/capture/instrumenttest"

	"github.com/google/go-cmp/cmp"
)

// nothing is an ALSA device that takes all and returns zeros, at any rate
// and as fast as it is asked. (ALSA's plain null device returns whatever is
// in its memory.)
const nothing = `
pcm.!default { type null }
pcm.nothing {
	type file
	slave.pcm { type null }
	file "/dev/null"
	infile "/dev/zero"
	format "raw"
	hint { show on description "nothing" }
}
`

// alsa leaves only that device to PortAudio. ALSA reads its configuration
// anew each time PortAudio starts.
func alsa(t *testing.T) {
	t.Helper()
	conf := filepath.Join(t.TempDir(), "asound.conf")
	if err := os.WriteFile(conf, []byte(nothing), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Setenv("ALSA_CONFIG_PATH", conf)
	t.Setenv("JACK_DEFAULT_SERVER", "boardproof-none")
}

// Another audio system than JACK, with blocks of another length, at the
// highest and lowest rates.
func TestContractOverALSA(t *testing.T) {
	if testing.Short() {
		t.Skip("plays in real time")
	}
	for name, rate := range map[string]int{"192 kHz": 192000, "44.1 kHz": 44100} {
		t.Run(name, func(t *testing.T) {
			alsa(t)
			instrumenttest.Run(t, func(t *testing.T) capture.Instrument {
				return open(t, Config{Device: "nothing", Host: "alsa", RateHz: rate})
			}, instrumenttest.Options{Outputs: []int{2}, Inputs: []int{1, 3}, Mute: true})
		})
	}
}

func TestListOverALSA(t *testing.T) {
	alsa(t)
	list, err := List()
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range list {
		if d.Name == "nothing" {
			if diff := cmp.Diff(usualRatesHz, d.RatesHz); diff != "" {
				t.Errorf("rates (-want +got):\n%s", diff)
			}
			return
		}
	}
	t.Errorf("the device is not in the list %+v", list)
}
