package verdict

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"boardproof/analysis"
	"boardproof/capture"
	"boardproof/testsignals"
)

func defaultPlan(t *testing.T) Plan {
	t.Helper()
	p, err := ParsePlan(DefaultPlanTOML)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestDefaultPlan(t *testing.T) {
	p := defaultPlan(t)
	if p.Rule != Guarded || len(p.Steps) != 4 {
		t.Fatalf("rule %q and %d steps, want guarded and 4", p.Rule, len(p.Steps))
	}
	flex := p.Steps[3]
	want := Step{
		Name: "flex every joint while a steady tone plays", State: "all bypassed", Patch: "board", LevelDBu: -10,
		Signals: []testsignals.Kind{testsignals.Tone}, DurationS: 10, Prompt: flex.Prompt, Caution: flex.Caution,
		Limits: []PlanLimit{{Quantity: analysis.DropOuts, Max: at(0), Source: "common practice"}},
	}
	if diff := cmp.Diff(want, flex); diff != "" {
		t.Errorf("flex step (-want +got):\n%s", diff)
	}
	for _, s := range p.Steps {
		if s.Caution == "" || s.Prompt == "" {
			t.Errorf("step %q has no caution or no prompt", s.Name)
		}
		for _, l := range s.Limits {
			if l.Source != "common practice" {
				t.Errorf("step %q, %s: source %q", s.Name, l.Quantity, l.Source)
			}
		}
	}
	for _, danger := range []string{"speaker", "phantom power off", "never plug a loudspeaker output"} {
		if !strings.Contains(p.Steps[0].Caution, danger) {
			t.Errorf("caution before the sweep does not mention %q", danger)
		}
	}
	if !slices.Equal(flex.Reads(), []string{analysis.DropOuts}) {
		t.Errorf("flex step reads %q", flex.Reads())
	}
	p.Steps[0].Limits[3].BandHz = [2]float64{50, 5000}
	if got := p.Steps[0].Band(); got != (analysis.Band{LowHz: 50, HighHz: 5000}) {
		t.Errorf("band of the first step: %v", got)
	}
	if got := p.Steps[1].Band(); got != analysis.DefaultBand {
		t.Errorf("band of a step that names none: %v", got)
	}
}

func TestPatchesAreThoseOfCapture(t *testing.T) {
	want := []string{string(capture.ToBoard), string(capture.Loopback), string(capture.Terminated), string(capture.Swapped)}
	if diff := cmp.Diff(want, patches); diff != "" {
		t.Errorf("patchings of capture and of plans differ (-capture +plan):\n%s", diff)
	}
}

func TestParsePlanRefuses(t *testing.T) {
	gain := "quantity = \"gain\"           # at 1 kHz\n"
	for name, c := range map[string]struct{ old, new, want, at string }{
		"syntax":               {`name = "tone"`, `name = tone"`, `line %d: expected value but found "tone" instead: correct the line`, `name = tone"`},
		"wrong type":           {"level_dbu = -10.0           # of the marks", `level_dbu = "soft" # of the`, `line %d: step.level_dbu: incompatible types`, `[[step]]#3`},
		"wrong type in limit":  {"max = -78.0", `max = "low"`, `step "silence", limit 2: step.limit.max: incompatible types`, ""},
		"unknown key":          {"max = 20.0", "maximum = 20.0", `line %d: "maximum" is not a key of step.limit: correct its spelling or take it out`, `maximum`},
		"unknown plan key":     {"rule = ", "rules = ", `line %d: "rules" is not a key of the plan itself`, `rules = `},
		"unknown table":        {"[[step.mask]]", "[[step.masks]]", `line %d: "masks" is not a key of step`, `[[step.masks]]`},
		"unknown point key":    {"{ frequency_hz = 40.0, min", "{ frequency_hz = 40.0, least", `line %d: "least" is not a key of step.mask.points`, "  { frequency_hz = 40.0, least"},
		"format":               {"boardproof-plan/1", "boardproof-plan/9", `format "boardproof-plan/9" is not known`, ""},
		"rule":                 {`rule = "guarded"`, `rule = "lucky"`, `rule "lucky" is not known: use "guarded" or "simple"`, ""},
		"no name":              {`name = "a mono board with a split output"`, ``, "it has no name", ""},
		"no level":             {"level_dbu = -10.0           # about", "# about", `step "signal path" has no level_dbu`, ""},
		"level":                {"level_dbu = -10.0           # about", "level_dbu = 44.0 # about", `level_dbu 44 is outside -90 to 30 dBu`, ""},
		"step without name":    {`name = "tone"`, ``, `line %d: step "": it has no name`, `[[step]]#2`},
		"step without state":   {"name = \"tone\"\nstate = \"all bypassed\"", `name = "tone"`, `line %d: step "tone": it has no state`, `[[step]]#2`},
		"step twice":           {`name = "tone"`, `name = "signal path"`, `line %d: step "signal path" is there twice`, `[[step]]#2`},
		"patch":                {`patch = "board"             #`, `patch = "sideways" #`, `line %d: step "signal path": patch "sideways" is not known: use one of board, loopback`, `[[step]]`},
		"signal":               {`signals = ["tone"]          #`, `signals = ["hum"] #`, `signal "hum" is not known: use sweep, impulses, tone or silence`, ""},
		"signal twice":         {`["sweep", "impulses"]`, `["sweep", "sweep"]`, `signal "sweep" is there twice`, ""},
		"no signal":            {`["sweep", "impulses"]`, `[]`, `it plays nothing`, ""},
		"duration of two":      {`signals = ["sweep", "impulses"]`, "signals = [\"sweep\", \"impulses\"]\nduration_s = 3", `duration_s is for steps that play one signal`, ""},
		"duration":             {"duration_s = 10.0", "duration_s = -1.0", `duration_s -1 is outside`, ""},
		"quantity":             {`quantity = "thd_n"`, `quantity = "thdn"`, `(thdn): quantity "thdn" is not known: use one of delay,`, ""},
		"wrong signal":         {`quantity = "thd_n"`, `quantity = "hum"`, `(hum): it cannot be read from tone: move it to a step that plays silence`, ""},
		"min above max":        {gain + "min = -1.5", gain + "min = 1.5", `line %d: step "signal path", limit 1 (gain): min 1.5 is above max 0.5: exchange or correct them`, `[[step.limit]]`},
		"min above max, later": {"max = 0.0\n", "max = 0.0\nmin = 9.0\n", `line %d: step "flex every joint while a steady tone plays", limit 1 (drop_outs): min 9 is above max 0`, "[[step.limit]]#15"},
		"known elsewhere":      {"max = 0.3\n", "max = 0.3\npatch = 'board'\n", `line %d: "patch" is not a key of step.limit`, "patch = 'board'"},
		"unknown in a remark":  {"max = 0.3\n", "# least = 1\nmax = 0.3\nleast = 0.1\n", `line %d: "least" is not a key of step.limit`, "least"},
		"no side":              {"max = 0.3\n", "", `(thd_n): it has neither min nor max`, ""},
		"side not finite":      {"max = 0.3\n", "max = nan\n", `min and max must be finite numbers`, ""},
		"no weighting":         {"weighting = \"A\"\n", "", `limit 1 (noise): weighting "" is not known: use "none", "A" or "468"`, ""},
		"needless weighting":   {gain, gain + "weighting = \"A\"\n", `take weighting out`, ""},
		"needless harmonic":    {gain, gain + "harmonic = 2\n", `harmonic counts from 1 and is for hum_harmonic only`, ""},
		"needless frequency":   {`quantity = "low_corner"`, "quantity = \"low_corner\"\nfrequency_hz = 20.0", `take frequency_hz out`, ""},
		"frequency":            {"frequency_hz = 1000.0\n", "frequency_hz = -3.0\n", `frequency_hz -3 is outside 1 to 96000 Hz`, ""},
		"no band":              {"band_hz = [40.0, 10000.0]\nmax = 1.0", "max = 1.0", `it needs a band: add band_hz`, ""},
		"needless band":        {gain, gain + "band_hz = [40.0, 50.0]\n", `take band_hz out`, ""},
		"band falls":           {"band_hz = [40.0, 10000.0]\nmax = 1.0", "band_hz = [400.0, 100.0]\nmax = 1.0", `band_hz from 400 to 100 must rise`, ""},
		"band of three":        {"band_hz = [40.0, 10000.0]\nmax = 1.0", "band_hz = [1.0, 2.0, 3.0]\nmax = 1.0", `expected array length 2`, ""},
		"needless reference":   {gain, gain + "reference = \"A\"\n", `take reference out`, ""},
		"its own reference":    {"quantity = \"delay_match\"\n", "quantity = \"delay_match\"\noutput = \"B\"\nreference = \"B\"\n", `output and reference are both "B"`, ""},
		"limit twice":          {"weighting = \"none\"\nmax", "weighting = \"A\"\nmax", `limit 2 (noise): the same limit is there twice`, ""},
		"two bands":            {`quantity = "low_corner"`, "quantity = \"flatness\"\nband_hz = [100.0, 200.0]\n", `limit 4 (flatness): a step is read over one band only`, ""},
		"mask falls":           {"{ frequency_hz = 40.0", "{ frequency_hz = 10.0", `line %d: step "signal path", mask 1: point 2: frequency_hz 10 must be above`, `[[step.mask]]`},
		"mask min above max":   {"15000.0, min = -3.0", "15000.0, min = 3.0", `mask 1: point 4: min 3 is above max 1`, ""},
		"mask loses a side":    {"15000.0, min = -3.0, max", "15000.0, max", `point 4: it has other sides than the first point`, ""},
		"mask reference":       {"relative_to_hz = 1000.0", "relative_to_hz = -2.0", `relative_to_hz -2 is outside`, ""},
		"mask in a tone step":  {"quantity = \"thd\"\nmax = 0.1", "quantity = \"thd\"\nmax = 0.1\n[[step.mask]]\npoints = []", `a response cannot be read from tone`, ""},
	} {
		text := strings.Replace(string(DefaultPlanTOML), c.old, c.new, 1)
		if text == string(DefaultPlanTOML) {
			t.Errorf("%s: %q is not in the default plan", name, c.old)
			continue
		}
		want := c.want
		if c.at != "" {
			want = fmt.Sprintf(c.want, lineOf(text, c.at))
		}
		_, err := ParsePlan([]byte(text))
		switch {
		case err == nil:
			t.Errorf("%s: no error", name)
		case !strings.Contains(err.Error(), want):
			t.Errorf("%s: error %q, want %q in it", name, err, want)
		case strings.Contains(err.Error(), "\n"):
			t.Errorf("%s: error is more than one line: %q", name, err)
		}
	}
}

// lineOf is the number of the n-th line that starts with mark, for a mark
// written as "mark#n"; of the first without #n.
func lineOf(text, mark string) int {
	mark, nth, _ := strings.Cut(mark, "#")
	left, _ := strconv.Atoi("0" + nth)
	for i, line := range strings.Split(text, "\n") {
		if strings.HasPrefix(line, mark) {
			if left--; left <= 0 {
				return i + 1
			}
		}
	}
	return -1
}

func TestParsePlanRefusesNothing(t *testing.T) {
	for _, text := range []string{"", "format = \"boardproof-plan/1\"\nname = \"x\"", "\x00", "RIFF....WAVE"} {
		if _, err := ParsePlan([]byte(text)); err == nil {
			t.Errorf("plan %q was taken", text)
		}
	}
}

func TestCheckOutputs(t *testing.T) {
	p := defaultPlan(t)
	if err := p.CheckOutputs([]string{"A"}); err != nil {
		t.Errorf("a plan that names no output does not suit one: %v", err)
	}
	p.Steps[2].Limits[0].Output = "C"
	err := p.CheckOutputs([]string{"A", "B"})
	if err == nil || !strings.Contains(err.Error(), `step "silence", limit on noise: the board has no output "C", it has A, B`) {
		t.Errorf("limit on an output that is not there: %v", err)
	}
	p.Steps[2].Limits[0].Output, p.Steps[0].Masks[0].Output = "", "D"
	if err = p.CheckOutputs([]string{"A", "B"}); err == nil || !strings.Contains(err.Error(), `mask: the board has no output "D"`) {
		t.Errorf("mask on an output that is not there: %v", err)
	}
}

func FuzzParsePlan(f *testing.F) {
	f.Add(DefaultPlanTOML)
	f.Add([]byte("[[step]]\nlevel_dbu = 1\n[[step.limit]]\n"))
	f.Add([]byte("step = [{level_dbu = 1.0, limit = [{quantity = 'gain'}], mask = [{}]}]"))
	f.Fuzz(func(t *testing.T, text []byte) {
		p, err := ParsePlan(text)
		if err == nil && p.check() != nil {
			t.Errorf("taken though %v", p.check())
		}
	})
}
