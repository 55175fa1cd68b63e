package soundcard

import (
	"errors"
	"strings"
	"testing"

	"github.com/gordonklaus/portaudio"
)

// desk is a computer with two audio systems: each device is named with its
// outputs and inputs.
func desk() []*portaudio.HostApiInfo {
	number := 0
	host := func(name string, devices ...*portaudio.DeviceInfo) *portaudio.HostApiInfo {
		h := &portaudio.HostApiInfo{Name: name, Devices: devices}
		for _, d := range devices {
			d.Index, d.HostApi = number, h
			number++
		}
		return h
	}
	dev := func(name string, outputs, inputs int) *portaudio.DeviceInfo {
		return &portaudio.DeviceInfo{Name: name, MaxOutputChannels: outputs, MaxInputChannels: inputs}
	}
	first := host("Kernel", dev("Built-in", 2, 2), dev("Bench Four", 4, 4), dev("Bench Four Pro", 4, 4))
	second := host("Server", dev("Line (Rack)", 0, 2), dev("Speakers (Rack)", 2, 0), dev("Bench Four", 4, 4), dev("1", 2, 2))
	second.DefaultOutputDevice = second.Devices[1]
	return []*portaudio.HostApiInfo{first, second}
}

func TestFind(t *testing.T) {
	for _, c := range []struct {
		host, want string
		dir        direction
		number     int
	}{
		{"", "built-IN", outwards, 0},         // case does not matter
		{"", "lt-in", outwards, 0},            // a part that only one has
		{"kern", "bench four", outwards, 1},   // the exact name wins over the longer one
		{"server", "bench four", outwards, 5}, // the same name in the other system
		{"", "2", inwards, 2},                 // a number
		{"", "1", inwards, 6},                 // a device whose exact name is a number
		{"", "rack", outwards, 4},             // the half that has outputs
		{"", "rack", inwards, 3},              // the half that has inputs
		{"", "", outwards, 4},                 // the default
	} {
		d, err := find(desk(), c.host, c.want, c.dir)
		if err != nil {
			t.Errorf("find(%q, %q, %s): %v", c.host, c.want, c.dir.name, err)
		} else if d.Index != c.number {
			t.Errorf("find(%q, %q, %s) is number %d; want %d", c.host, c.want, c.dir.name, d.Index, c.number)
		}
	}
}

func TestFindRefuses(t *testing.T) {
	for _, c := range []struct {
		hosts      []*portaudio.HostApiInfo
		host, want string
		dir        direction
		err        error
		mention    []string
	}{
		{desk(), "", "bench", outwards, ErrAmbiguous, []string{`1 "Bench Four" (Kernel)`, `2 "Bench Four Pro" (Kernel)`, `5 "Bench Four" (Server)`}},
		{desk(), "", "bench four", outwards, ErrAmbiguous, []string{`1 "Bench Four" (Kernel), 5 "Bench Four" (Server);`}},
		{desk(), "", "nothing", outwards, ErrNoDevice, []string{`"nothing"`, `0 "Built-in" (Kernel)`}},
		{desk(), "", "99", outwards, ErrNoDevice, []string{`"99"`}},
		{desk(), "", "3", outwards, ErrNoDevice, []string{"outputs"}},
		{desk(), "kernel", "", outwards, ErrNoDevice, []string{"kernel", `1 "Bench Four" (Kernel)`}},
		{desk(), "elsewhere", "bench", inwards, ErrNoDevice, []string{"elsewhere", "connect the interface"}},
		{nil, "", "bench", inwards, ErrNoDevice, []string{"connect the interface"}},
	} {
		d, err := find(c.hosts, c.host, c.want, c.dir)
		if d != nil || !errors.Is(err, c.err) {
			t.Errorf("find(%q, %q) is %v, %v; want %v", c.host, c.want, d, err, c.err)
			continue
		}
		for _, m := range c.mention {
			if !strings.Contains(err.Error(), m) {
				t.Errorf("find(%q, %q): %q does not mention %q", c.host, c.want, err, m)
			}
		}
	}
}

func TestExplain(t *testing.T) {
	for _, c := range []struct {
		from    error
		err     error
		mention string
	}{
		{portaudio.InvalidSampleRate, ErrRate, "192000 Hz, the device offers 48000 Hz"},
		{portaudio.DeviceUnavailable, ErrBusy, "close other programs"},
		{portaudio.UnanticipatedHostError{Code: -16, Text: "Device or resource busy"}, ErrBusy, "device or resource busy"},
		{portaudio.InvalidChannelCount, ErrChannel, "lower channels"},
		{portaudio.BadIODeviceCombination, portaudio.BadIODeviceCombination, "one device for both"},
		{portaudio.UnanticipatedHostError{Code: -5, Text: "Input/output error"}, portaudio.UnanticipatedHostError{Code: -5, Text: "Input/output error"}, "Input/output"},
	} {
		err := explain(c.from, 192000, 48000)
		if !errors.Is(err, c.err) || !strings.Contains(err.Error(), c.mention) {
			t.Errorf("explain(%v) is %q; want %v wrapped and %q", c.from, err, c.err, c.mention)
		}
	}
	if err := explain(nil, 48000, 48000); err != nil {
		t.Errorf("explain(nil) is %v", err)
	}
}
