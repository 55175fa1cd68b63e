package procedure

import (
	"errors"
	"testing"

	"boardproof/analysis/hunt"
	"boardproof/analysis/verdict"
)

// What people say at a bench for lifting the protective earth, and for what is
// none of it: common speech, no source.
func TestNoWordsLiftTheEarth(t *testing.T) {
	lifted := []string{
		"lift the earth", "Lift Earth", "earth lifted", "earth lift", "ground lift", "lift ground", "GROUND-LIFT", "cut the earth wire",
		"tape off the earth pin", "tape the earth", "tape over the ground pin", "bypass the earth", "remove the earth", "remove the ground pin",
		"pull the ground pin", "use a ground lift adapter on the amp plug", "ground-lift adaptor on amp B", "disconnect protective earth",
		"disconnect the PE", "PE off", "isolate the earth", "isolate the ground pin", "float the amp", "amp floating", "float the mains",
		"cheater plug on amp B", "2-pin adapter on the laptop", "two-prong plug", "two pin lead for the amp", "third pin taped", "snap off the third prong",
		"no earth on B", "amp without earth", "unearthed extension", "ungrounded outlet", "earth-free outlet", "cut the green and yellow wire",
		"green/yellow wire off", "snip the green-yellow", "undo the earth screw", "break the earth", "break the ground loop", "earth off",
		"take the earth off amp A", "pull the earth", "saw off the earth prong", "disconnect the chassis ground", "lift the chassis",
		"lift the ground on the amp with the di", "with the DI in, lift the amp's earth", "lift the earth of the DI's mains plug",
		"run the amp from a mains isolation transformer", "tape up the pin of the amplifier's plug", "insulate the ground contact of the plug",
		"lift the signal ground at the mains plug", "change the earth", "earth", "without the earth connected", "do not connect the earth",
		"press the ground lift on the amp", "safety ground removed", "unplug the earth, lamp off", "the earth: cut it", "never mind, lift the earth",
		"earthing strap taken away", "gnd lift", "suicide cord", "bend the earth pins", "omit earth at the strip", "plug with its ground clipped",
	}
	for _, text := range lifted {
		if _, err := ParseCondition(text, hunt.Board{Outputs: []string{"A", "B"}, Devices: []string{"earth", "Earth Drive", "a", "lift"}}); !errors.Is(err, ErrEarth) {
			t.Errorf("%q is taken: %v", text, err)
		}
	}
	fine := []string{
		"phone away", "lights at the bar off", "lift the board off its case", "press the ground-lift switch on the DI", "ground lift on the audio isolator",
		"ground-lift switch of the DI box pressed", "DI ground lift in", "signal ground lifted at output B", "lift the signal ground", "lift the shield at the amp end",
		"lift the screen at one end", "lift pin 1 of the XLR", "lift the ground of the signal cable", "isolator's ground lift switch pressed",
		"earth strap added to the board's case", "connect the case to earth", "all on one earthed strip", "same earth for both amps",
		"board on the ground", "background music off", "turn the board round", "pull the plug of amplifier B", "unplug amp B",
		"isolated supply for the delay", "isolate the amplifier with a signal transformer", "open the window", "tape the cable to the floor", "heater off",
		"other cable between fuzz and delay", "float the board on foam", "earth drive knob down",
	}
	for _, text := range fine {
		if c, err := ParseCondition(text, hunt.Board{Devices: []string{"Earth Drive"}}); err != nil || c.Change != text {
			t.Errorf("%q is refused or changed: %v %v", text, c, err)
		}
	}
}

func TestPlanMayForbidLiftingTheEarth(t *testing.T) {
	plan, err := verdict.ParsePlan(verdict.DefaultPlanTOML)
	if err != nil {
		t.Fatal(err)
	}
	if err := CheckPlanWords(plan); err != nil {
		t.Errorf("the plan each board starts with: %v", err)
	}
	for _, text := range []string{earthCaution, outletCaution, supplyCaution, asFoundPrompt, foundCaution, calibrationCaution, terminatedPrompt,
		"do not lift the earth", "the earth must not be lifted"} {
		if err := CheckEarth(text); err != nil {
			t.Errorf("%q: %v", text, err)
		}
	}
	for _, step := range []verdict.Step{{Prompt: "hands off, then tape the earth pin of amp B"}, {Name: "earth lifted"}, {Caution: "amps down; cut the earth"}, {State: "no earth"}} {
		if err := CheckPlanWords(verdict.Plan{Steps: []verdict.Step{step}}); !errors.Is(err, ErrEarth) {
			t.Errorf("%+v is taken: %v", step, err)
		}
	}
}
