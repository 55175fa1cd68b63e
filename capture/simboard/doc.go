// Package simboard is a simulated pedalboard on a simulated audio interface,
// an [boardproof/capture.Instrument] that needs no hardware and whose truth
// is known.
//
// It is a physical model, not a table of answers. The signal goes
//
//	interface output ─ source ─ cable and bypassed devices (shunt C) ─ input buffer
//	  ─ engaged devices ─ coupling C ─┬─ series R ─[transformer]─ cable ─ input "A"
//	                                  └─ series R ─[transformer]─ cable ─ input "B"
//
// The linear parts are circuits solved by nodal analysis, and applied to the
// whole take in the frequency domain, so [Truth.Response] is exactly what the
// samples went through. Noise is the circuit's own (Johnson noise of its
// resistors, the buffer's voltage and current noise, both converters), drawn
// in the frequency domain with exactly the densities that [Truth] states. Hum
// of each kind is computed from what causes it; all of it that comes from
// the mains shares one drifting mains phase.
//
// In the patch Loopback each input has a lead to output 1 for itself, as it has
// in those derived from it. Crosstalk between inputs is that of the signal
// alone, without noise and hum. Board
// output i is connected to input i+1; the board's loads are the inputs of the
// interface, so that swapping them changes what each output sees.
//
// What is left out: the correlation between outputs of the noise that their
// own branch resistors make (all noise from the buffer and ahead of it is
// common to all outputs, as on a real board); the inputs' noise current;
// quantisation at the output; saturation of transformers. Engaged devices act
// behind the input buffer, wherever they stand on the board. What is not
// linear runs at twice the rate up to 96 kHz, so that products up to the third
// order do not fold back, and at the rate itself above; the output converter's
// own distortion always does the latter. Hum and tones pass the input with its
// response at their frequency at the start of the take.
//
// Conditions of a take change what causes the hum, not what it is called: an
// unplugged amplifier opens the loop that runs through it, a transformer in a
// lead leaves what its windings' capacitance passes, a shorted plug shorts the
// node that a field works into and keeps the signal out, a device without
// supply is passed by, a board without any passes nothing at all, and a quarter
// turn takes pick-up from the cosine of its angle to that of 90 degrees more.
// Turns in front of a transformer that sits on the board itself do nothing. A
// transformer put in a lead is ideal for the signal. [GroundLoop] says which
// ways a loop has, [Truth.Under] what is left of everything.
//
// In this room: how a board and an interface behave. Not in this room: what
// the samples mean.
package simboard
