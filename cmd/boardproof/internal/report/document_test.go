package report

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"boardproof/analysis"
	"boardproof/analysis/verdict"

	"github.com/google/go-cmp/cmp"
)

// contract is the example of the project's JSON contract, its "…" filled in.
const contract = `{"format":"boardproof/1","simulated":false,"board":null,"run":null,"profile":null,
 "readings":[{"quantity":"level_match","output":"B","reference":"A","frequency_hz":1000,
   "value":-0.173,"unit":"dB","uncertainty":0.004,"k":2,"floor_limited":false,
   "limit":{"min":-0.25,"max":0.25},"verdict":"pass"}],
 "curves":[{"quantity":"response","output":"A","frequency_hz":[10,20],"value":[-0.5,-0.1],"unit":"dB",
   "phase_deg":[3,1],"uncertainty":[0.01,0.01]}],
 "refused":[{"quantity":"response","output":"A","reason":"lost samples: marks 480064 apart, played 480000"}]}`

func TestContractReadsAndWritesTheSameKeys(t *testing.T) {
	dec := json.NewDecoder(strings.NewReader(contract))
	dec.DisallowUnknownFields()
	var doc Document
	if err := dec.Decode(&doc); err != nil {
		t.Fatal(err)
	}
	if got := doc.Readings[0].Value; got != -0.173 {
		t.Errorf("value = %v", got)
	}
	var got, want any
	if err := json.Unmarshal(written(t, doc), &got); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal([]byte(contract), &want); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("contract changed on its way through Document (-want +got):\n%s", diff)
	}
}

func TestEmptyListsAreLists(t *testing.T) {
	got := string(written(t, Document{}))
	want := `{"format":"boardproof/1","simulated":false,"board":null,"run":null,"profile":null,"readings":[],"curves":[],"refused":[]}` + "\n"
	if got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

func TestWhatIsNotFiniteIsRefused(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	good := verdict.Judged{Reading: analysis.Reading{Quantity: "gain", Output: "A", Value: 1, Uncertainty: 0.1, K: 2}}
	with := func(change func(*verdict.Judged)) verdict.Judged {
		j := good
		change(&j)
		return j
	}
	absent := func(quantity, note string) verdict.Judged {
		return verdict.Judged{Reading: analysis.Reading{Quantity: quantity, Output: "A", Note: note}, Limit: atMost(1), Verdict: verdict.NotMeasured, Absent: true}
	}
	doc := Document{
		Readings: []verdict.Judged{
			good,
			with(func(j *verdict.Judged) { j.Value = nan }),
			with(func(j *verdict.Judged) { j.Uncertainty = inf }),
			with(func(j *verdict.Judged) { j.FrequencyHz = nan }),
			with(func(j *verdict.Judged) { j.Limit = &verdict.Limit{Max: &inf} }),
			absent("hum", ""),
			absent("thd", "no tone was played"),
		},
		Curves: []analysis.Curve{
			{Quantity: "response", FrequencyHz: []float64{10, 20, 30}, Value: []float64{1, inf, 3}, PhaseDeg: []float64{4, 5, nan}},
			{Quantity: "noise_density", FrequencyHz: []float64{10}, Value: []float64{nan}},
			{Quantity: "split_difference", FrequencyHz: []float64{10, 20}, Value: []float64{1}},
			{Quantity: "third_octaves"},
			{Quantity: "response", FrequencyHz: []float64{10}, Value: []float64{1}, SharedUncertainty: nan},
		},
		Refused: []analysis.Refusal{{Quantity: "thd", Output: "A", Reason: "no tone was played"}},
	}
	var got Document
	if err := json.Unmarshal(written(t, doc), &got); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]verdict.Judged{good, absent("hum", ""), absent("thd", "no tone was played")}, got.Readings); diff != "" {
		t.Errorf("readings (-want +got):\n%s", diff)
	}
	wantCurves := []analysis.Curve{{Quantity: "response", FrequencyHz: []float64{10}, Value: []float64{1}, PhaseDeg: []float64{4}}}
	if diff := cmp.Diff(wantCurves, got.Curves); diff != "" {
		t.Errorf("curves (-want +got):\n%s", diff)
	}
	var reasons []string
	for _, r := range got.Refused {
		reasons = append(reasons, r.Quantity+": "+r.Reason)
	}
	want := []string{
		"thd: no tone was played",
		"gain: its value is not a finite number",
		"gain: its uncertainty is not a finite number",
		"gain: its frequency is not a finite number",
		"gain: its limit is not a finite number",
		"hum: not measured",
		"response: 2 of 3 points left out: not finite numbers",
		"noise_density: 1 of 1 point left out: not finite numbers",
		"split_difference: curve is inconsistent: 2 frequencies, but 1 figures beside them",
		"third_octaves: curve has no points",
		"response: its shared uncertainty is not a finite number",
	}
	if diff := cmp.Diff(want, reasons); diff != "" {
		t.Errorf("refused (-want +got):\n%s", diff)
	}
}

func TestWriteLeavesItsInputAlone(t *testing.T) {
	c := analysis.Curve{Quantity: "response", FrequencyHz: []float64{10, 20}, Value: []float64{math.NaN(), 2}}
	written(t, Document{Curves: []analysis.Curve{c}})
	if len(c.Value) != 2 || c.Value[1] != 2 || c.FrequencyHz[0] != 10 {
		t.Errorf("curve was changed: %+v", c)
	}
}

func TestUnencodableBoardWritesNothing(t *testing.T) {
	var b bytes.Buffer
	if err := Write(&b, Document{Board: math.NaN()}); err == nil {
		t.Error("no error")
	}
	if b.Len() != 0 {
		t.Errorf("wrote %q", b.String())
	}
}

func written(t *testing.T, doc Document) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, doc); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}
