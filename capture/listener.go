package capture

import "context"

// Listener is an Instrument that can also listen for as long as is wanted,
// playing nothing.
type Listener interface {
	Instrument
	// Listen records the inputs of req and hands what came in to each, block
	// after block without a gap, until ctx ends, each returns an error, or the
	// instrument fails. It returns ctx.Err() in the first case, each's error
	// in the second. How long each takes never disturbs the recording: what
	// comes in meanwhile waits; where it would have to wait too long the next
	// block says how many frames were left out before it. The outputs are
	// silent all the time. It is not called while a Record runs.
	Listen(ctx context.Context, req ListenRequest, each func(Block) error) error
}

// ListenRequest is what to listen to. Channels are counted from 1.
type ListenRequest struct {
	Inputs []int
	Patch  Patch
	// Conditions are as those of a Request. They are read anew for each block,
	// so that a simulated bench can be changed while it is listened to.
	Conditions func() []Condition
}

// Block is a piece of what is listened to.
type Block struct {
	// Samples are [input][frame], full scale ±1, in the order of the request.
	// They are the receiver's to keep.
	Samples [][]float64
	// LostFrames were left out between the block before and this one.
	LostFrames int
}
