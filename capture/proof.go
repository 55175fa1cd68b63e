package capture

import "fmt"

// Clocks says whose clock the recording was made with.
type Clocks int

// The two cases.
const (
	// OneClock: player and recorder share a clock, so that the marks must
	// come back exactly as far apart as they were played.
	OneClock Clocks = iota
	// TwoClocks: recorded elsewhere; the recorder's clock is estimated.
	TwoClocks
)

// Expect says what a take should hold.
type Expect struct {
	Clocks Clocks
	// NoSignal is set where nothing was played or nothing can arrive, as
	// with terminated inputs: marks and run-in are not looked for, and the
	// count of samples is not proved.
	NoSignal bool
}

// Fault is the kind of what is wrong with a take.
type Fault string

// The faults that are known. A BadTake's reason begins with its fault.
const (
	Lost     Fault = "lost samples"
	Added    Fault = "added samples"
	Repeats  Fault = "repeated samples"
	Clipped  Fault = "clipped"
	Stuck    Fault = "stuck"
	NoSignal Fault = "no signal"
	// WrongRecording: a file holds sound, but not the signal it is said to.
	WrongRecording Fault = "wrong recording"
	Unsteady       Fault = "unsteady timing"
	NotProved      Fault = "not proved"
	Broken         Fault = "broken"
	// TooCoarse: the noise is less than the recording's steps.
	TooCoarse Fault = "too coarse"
	// Lossy: a file went through a lossy codec or a lower sample rate.
	Lossy Fault = "lossy recording"
)

// BadTake is why a take is thrown away. Ask for the take again, and refuse
// with the reason when it keeps failing.
type BadTake struct {
	Fault Fault
	// Reason is a sentence for whoever is at the bench. It begins with Fault.
	Reason string
	// Input is the input channel, from 1, or 0 for the take as a whole.
	Input int
}

// ByComputer says whether the computer is to blame, which did not keep up, and
// neither the board nor its leads.
func (b *BadTake) ByComputer() bool {
	return b.Fault == Lost || b.Fault == Added || b.Fault == Repeats
}

// keepUp is what to do about a computer that does not.
const keepUp = "close other programs, or set a larger buffer in the audio system"

func (b *BadTake) Error() string {
	if b.Input == 0 {
		return b.Reason
	}
	return fmt.Sprintf("input %d: %s", b.Input, b.Reason)
}

// Proof is what a take showed about itself. Frames are those of the take.
type Proof struct {
	// OffsetFrames is where frame 0 of the signal arrived in the channel
	// with the clearest marks, to a part of a frame. It contains the latency
	// and the delay of whatever the signal went through.
	OffsetFrames    float64 `json:"offset_frames"`
	OffsetStdFrames float64 `json:"offset_std_frames"`
	// PlayedFrames and FoundFrames are the distances from the first mark to
	// the last.
	PlayedFrames   int     `json:"played_frames"`
	FoundFrames    float64 `json:"found_frames"`
	FoundStdFrames float64 `json:"found_std_frames"`
	// LostFrames is how many frames are missing; negative where there are
	// too many.
	LostFrames int `json:"lost_frames"`
	// RepeatedBlocks is how many blocks came twice.
	RepeatedBlocks int `json:"repeated_blocks,omitempty"`
	// ClockError is the recorder's clock against the player's. With OneClock
	// it is a check that should be 0 within its uncertainty.
	ClockError ClockError `json:"clock_error"`
	// Channels has one entry per row of the take.
	Channels []ChannelProof `json:"channels"`
}

// fail keeps why the channel holds no signal; the first reason stays.
func (c *ChannelProof) fail(f Fault, words string) {
	if c.Problem == "" {
		c.Fault, c.Problem = f, words
	}
}

// ChannelProof is what one channel of a take showed. Levels in dBFS are as in
// AES17 where RMS, relative to ±1 where peak; -300 stands for zero.
type ChannelProof struct {
	Input int `json:"input"`
	// Problem is why this channel holds no signal, empty where it does. The
	// take may be good all the same: an output of the board may be dead.
	Problem string `json:"problem,omitempty"`
	// Fault is the kind of Problem.
	Fault           Fault   `json:"fault,omitempty"`
	OffsetFrames    float64 `json:"offset_frames"`
	OffsetStdFrames float64 `json:"offset_std_frames"`
	// MarkSNRDB is the power of the marks over what the four do not share,
	// noise or change, in their band.
	MarkSNRDB float64 `json:"mark_snr_db"`
	// MarkChangeDB is the level of the last two marks over the first two. Where
	// it is not 0 within its uncertainty the board changed during the take.
	MarkChangeDB    float64 `json:"mark_change_db"`
	MarkChangeStdDB float64 `json:"mark_change_std_db"`
	PeakDBFS        float64 `json:"peak_dbfs"`
	// RunInDBFS is the level of the run-in tone.
	RunInDBFS     float64 `json:"run_in_dbfs"`
	ClippedFrames int     `json:"clipped_frames"`
	StuckFrames   int     `json:"stuck_frames"`
}
