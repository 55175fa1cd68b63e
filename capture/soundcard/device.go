package soundcard

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/gordonklaus/portaudio"
)

// DeviceInfo is one device that List found.
type DeviceInfo struct {
	// Number is the device's place in the list; it may change when devices
	// come and go.
	Number        int    `json:"number"`
	Name          string `json:"name"`
	Host          string `json:"host"`
	Inputs        int    `json:"inputs"`
	Outputs       int    `json:"outputs"`
	DefaultRateHz int    `json:"default_rate_hz"`
	// RatesHz are those of 44100, 48000, 88200, 96000, 176400 and 192000 Hz
	// at which the device says it runs; empty while it is in use elsewhere.
	RatesHz []int `json:"rates_hz"`
}

var usualRatesHz = []int{44100, 48000, 88200, 96000, 176400, 192000}

// List returns all devices of all audio systems, in PortAudio's order. No
// device at all is an empty list, not an error.
func List() ([]DeviceInfo, error) {
	if err := initialise(); err != nil {
		return nil, fmt.Errorf("listing audio devices: %w", err)
	}
	var list []DeviceInfo
	err := ask("list devices", answerWithin, func() error {
		devices, err := portaudio.Devices()
		for _, d := range devices {
			list = append(list, describe(d))
		}
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("listing audio devices: %w", err)
	}
	return list, terminate()
}

func describe(d *portaudio.DeviceInfo) DeviceInfo {
	info := DeviceInfo{
		Number: d.Index, Name: d.Name, Host: d.HostApi.Name,
		Inputs: d.MaxInputChannels, Outputs: d.MaxOutputChannels,
		DefaultRateHz: int(math.Round(d.DefaultSampleRate)), RatesHz: []int{},
	}
	for _, rate := range usualRatesHz {
		var p portaudio.StreamParameters
		if d.MaxInputChannels > 0 {
			p.Input = portaudio.StreamDeviceParameters{Device: d, Channels: 1, Latency: d.DefaultHighInputLatency}
		}
		if d.MaxOutputChannels > 0 {
			p.Output = portaudio.StreamDeviceParameters{Device: d, Channels: 1, Latency: d.DefaultHighOutputLatency}
		}
		p.SampleRate = float64(rate)
		if portaudio.IsFormatSupported(p, (&session{}).process) == nil {
			info.RatesHz = append(info.RatesHz, rate)
		}
	}
	return info
}

// direction is one way through a device.
type direction struct {
	name     string
	channels func(*portaudio.DeviceInfo) int
	byHost   func(*portaudio.HostApiInfo) *portaudio.DeviceInfo
}

var (
	outwards = direction{
		"outputs",
		func(d *portaudio.DeviceInfo) int { return d.MaxOutputChannels },
		func(h *portaudio.HostApiInfo) *portaudio.DeviceInfo { return h.DefaultOutputDevice },
	}
	inwards = direction{
		"inputs",
		func(d *portaudio.DeviceInfo) int { return d.MaxInputChannels },
		func(h *portaudio.HostApiInfo) *portaudio.DeviceInfo { return h.DefaultInputDevice },
	}
)

// find returns the device that want means, among those of hosts whose name
// contains host: the one of that name exactly, else of that number, else
// the only one whose name contains want. Case does not matter. Only devices
// with channels in direction dir are looked at, because some systems show
// the two directions of one interface as two devices. An empty want is the
// default device of the first host that has one.
func find(hosts []*portaudio.HostApiInfo, host, want string, dir direction) (*portaudio.DeviceInfo, error) {
	var there, exact, part []*portaudio.DeviceInfo
	for _, h := range hosts {
		if !contains(h.Name, host) {
			continue
		}
		if want == "" && dir.byHost(h) != nil {
			return dir.byHost(h), nil
		}
		for _, d := range h.Devices {
			if dir.channels(d) == 0 {
				continue
			}
			there = append(there, d)
			if strings.EqualFold(d.Name, want) {
				exact = append(exact, d)
			}
			if contains(d.Name, want) {
				part = append(part, d)
			}
		}
	}
	if len(exact) > 0 {
		return only(exact, want, dir)
	}
	if n, err := strconv.Atoi(want); err == nil {
		for _, d := range there {
			if d.Index == n {
				return d, nil
			}
		}
	}
	if len(part) > 0 && want != "" {
		return only(part, want, dir)
	}
	return nil, notFound(there, host, want, dir)
}

func contains(name, part string) bool {
	return strings.Contains(strings.ToLower(name), strings.ToLower(part))
}

func only(found []*portaudio.DeviceInfo, want string, dir direction) (*portaudio.DeviceInfo, error) {
	if len(found) == 1 {
		return found[0], nil
	}
	return nil, fmt.Errorf("%w %q for %s: %s; give more of the name, the audio system, or the number",
		ErrAmbiguous, want, dir.name, names(found))
}

func notFound(there []*portaudio.DeviceInfo, host, want string, dir direction) error {
	from := ""
	if host != "" {
		from = fmt.Sprintf(" in audio system %q", host)
	}
	if len(there) == 0 {
		return fmt.Errorf("%w: no device with %s%s; connect the interface, check that its driver or audio server runs, then list the devices again",
			ErrNoDevice, dir.name, from)
	}
	return fmt.Errorf("%w: %q with %s%s; there are %s", ErrNoDevice, want, dir.name, from, names(there))
}

func names(devices []*portaudio.DeviceInfo) string {
	s := make([]string, len(devices))
	for i, d := range devices {
		s[i] = fmt.Sprintf("%d %q (%s)", d.Index, d.Name, d.HostApi.Name)
	}
	return strings.Join(s, ", ")
}
