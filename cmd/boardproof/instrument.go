package main

import (
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"boardproof/calibration"
	"boardproof/capture/simboard"
	"boardproof/cmd/boardproof/internal/workshop"
)

// addBenchUse adds the flags that choose the bench of a command.
func addBenchUse(cmd *cobra.Command, u *workshop.BenchUse) {
	cmd.Flags().StringVar(&u.Bench, "bench", "", "the bench to use (default: the only one there is)")
	cmd.Flags().StringVar(&u.Simulate, "simulate", "", "lay this simulated board on a simulated bench: "+strings.Join(simboard.ReadyNames(), ", "))
}

// addUse adds the flags of a command that measures with a bench as calibrated.
func addUse(cmd *cobra.Command, u *workshop.Use) {
	addBenchUse(cmd, &u.BenchUse)
	cmd.Flags().BoolVar(&u.NoCheck, "no-check", false, "do not check the bench against its profile before use; the result says so")
	addBoardIn(cmd, u)
	cmd.Flags().IntVar(&u.Repeats, "repeats", 0, "take each signal so often and average (default: as the plan says, or once)")
	cmd.Flags().StringArrayVar(&u.Knobs, "simulate-knob", nil, "turn a control of the simulated interface, in dB, as in 2=+0.3 or output=-1")
	cmd.Flags().MarkHidden("simulate-knob") //nolint:errcheck // it was added above
}

// addBoardIn adds the flag that answers whether the board is in.
func addBoardIn(cmd *cobra.Command, u *workshop.Use) {
	cmd.Flags().BoolVar(&u.BoardIn, "board-in", false, "a board is in even if it passes the signal just as the loopback lead does")
}

// addAgain adds the flags that answer whether a sitting that was left is gone on
// with.
func addAgain(cmd *cobra.Command, again *workshop.Again) {
	cmd.Flags().BoolVar(&again.GoOn, "go-on", false, "go on with the sitting that was left")
	cmd.Flags().BoolVar(&again.FromStart, "from-start", false, "begin anew, whatever was left")
	cmd.MarkFlagsMutuallyExclusive("go-on", "from-start")
}

// parseOutputs reads A=1,B=2 in the order given.
func parseOutputs(text string) ([]calibration.Patching, error) {
	var all []calibration.Patching
	for _, pair := range strings.Split(text, ",") {
		name, number, ok := strings.Cut(strings.TrimSpace(pair), "=")
		channel, err := strconv.Atoi(strings.TrimSpace(number))
		name = strings.TrimSpace(name)
		if !ok || err != nil || channel < 1 || name == "" {
			return nil, wrongUsef("%q is not outputs and their channels, as in A=1,B=2", text)
		}
		if slices.ContainsFunc(all, func(p calibration.Patching) bool { return p.Output == name || p.Input == channel }) {
			return nil, wrongUsef("%q names an output or a channel twice", text)
		}
		all = append(all, calibration.Patching{Output: name, Input: channel})
	}
	return all, nil
}
