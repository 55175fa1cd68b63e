package main

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"boardproof/capture/wavfile"
	"boardproof/testsignals"
)

// signalFlags are common to the four kinds of signal.
type signalFlags struct {
	rate     int
	level    string
	duration float64
	tone     float64
	out      string
	format   string
}

func (a *app) signalCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "signal",
		Short: "Write a test signal as a WAV file, to be played and recorded by other means",
		Long: "Write a test signal as a WAV file. What made it travels inside the file, so that a\n" +
			"recording of it can be read later with 'boardproof measure' and nothing else.",
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	for _, k := range []struct {
		kind  testsignals.Kind
		short string
	}{
		{testsignals.Sweep, "a synchronised exponential sweep: response, corners, harmonics, split match"},
		{testsignals.Impulses, "a train of band-limited impulses: polarity, delay, a second opinion"},
		{testsignals.Tone, "a steady tone: level, distortion, level match, drop-outs"},
		{testsignals.Silence, "a silence between timing marks: noise and hum"},
	} {
		cmd.AddCommand(a.signalKind(k.kind, k.short))
	}
	return cmd
}

func (a *app) signalKind(kind testsignals.Kind, short string) *cobra.Command {
	var f signalFlags
	cmd := &cobra.Command{
		Use:   string(kind),
		Short: short,
		Args:  noArgs,
		RunE:  func(*cobra.Command, []string) error { return a.writeSignal(kind, f) },
	}
	flags := cmd.Flags()
	flags.IntVar(&f.rate, "rate", 48000, "sample rate in hertz, 44100 to 192000")
	flags.StringVar(&f.level, "level", "-12dBFS", "level relative to a sine whose peaks just reach full scale")
	flags.Float64Var(&f.duration, "duration", 0, "length of the signal itself in seconds (default: what suits the kind)")
	flags.StringVar(&f.out, "out", "", "the WAV file to write")
	flags.StringVar(&f.format, "format", "float32", "how samples are stored: float32, pcm24 or pcm16")
	if kind == testsignals.Tone {
		flags.Float64Var(&f.tone, "frequency", 1000, "frequency of the tone in hertz")
	}
	return cmd
}

func (a *app) writeSignal(kind testsignals.Kind, f signalFlags) error {
	if f.out == "" {
		return wrongUsef("say where to write the signal: --out FILE.wav")
	}
	level, err := parseUnit(f.level, "dBFS")
	if err != nil {
		return wrongUsef("--level: %w", err)
	}
	encoding := wavfile.Encoding(f.format)
	if encoding != wavfile.Float32 && encoding != wavfile.PCM24 && encoding != wavfile.PCM16 {
		return wrongUsef("--format %q is not float32, pcm24 or pcm16", f.format)
	}
	spec := testsignals.New(kind, f.rate, level, f.duration)
	if kind == testsignals.Tone {
		spec.FrequencyHz = f.tone
	}
	sig, err := testsignals.Generate(spec)
	if err != nil {
		return wrongUse(err)
	}
	audio, err := wavfile.FromSignal(sig, encoding)
	if err != nil {
		return wrongUse(err)
	}
	if err := newFile(f.out, func(w io.Writer) error { return wavfile.Write(w, audio) }); err != nil {
		return wrongUse(err)
	}
	doc := map[string]any{"file": f.out, "signal": sig.Spec, "format": encoding, "seconds": sig.Seconds()}
	return a.show(doc, func() error {
		a.printf("%s: %s at %g dBFS, %d Hz, %.2f s, %s\n", f.out, kind, level, f.rate, sig.Seconds(), f.format)
		if body := float64(sig.Body.Len()) / float64(f.rate); f.duration > 0 && math.Abs(body-f.duration) > 0.1*f.duration {
			a.printf("the %s itself lasts %.2f s, not %g s: only so do its harmonics stay in phase from %g Hz up\n", kind, body, f.duration, sig.StartHz)
		}
		return nil
	})
}

// parseUnit reads a number with its unit, such as -12dBFS. The unit may be
// left out, another one may not be given.
func parseUnit(text, unit string) (float64, error) {
	number := strings.TrimSpace(text)
	if n := len(number) - len(unit); n > 0 && strings.EqualFold(number[n:], unit) {
		number = strings.TrimSpace(number[:n])
	}
	v, err := strconv.ParseFloat(number, 64)
	if err != nil || v != v || v > 1e9 || v < -1e9 {
		return 0, fmt.Errorf("%q is not a number in %s", text, unit)
	}
	return v, nil
}
