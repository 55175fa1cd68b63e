package procedure

import (
	"errors"
	"testing"

	"boardproof/calibration"
	"boardproof/cmd/boardproof/internal/talk"
)

// The multimeter is read again until it makes sense.
func TestMeterIsReadUntilItMakesSense(t *testing.T) {
	plan := CalibrationPlan{LevelDBFS: -12, ToneHz: 185, Meter: calibration.MeterReading{ResolutionV: 0.001}}
	for _, c := range []struct {
		answers []string
		want    float64
	}{
		{[]string{"0.775"}, 0.775},
		{[]string{" 0,775 V"}, 0.775},
		{[]string{"", "low", "-1", "775", "775 mV"}, 0.775}, // 775 V are no full scale of any interface
	} {
		who := &talk.Script{Answers: c.answers}
		m, err := (&Sitting{Person: who}).readMeter(t.Context(), plan)
		if err != nil || m.VoltsRMS != c.want || m.ResolutionV != 0.001 {
			t.Errorf("%q is read as %+v, %v", c.answers, m, err)
		}
		if err := who.Left(); err != nil {
			t.Error(err)
		}
	}
	if _, err := (&Sitting{Person: &talk.Script{Answers: []string{"775"}}}).readMeter(t.Context(), plan); !errors.Is(err, talk.ErrNoAnswer) {
		t.Errorf("no sensible reading gives %v", err)
	}
	if _, err := (&Sitting{Person: talk.Nobody{}}).readMeter(t.Context(), plan); !errors.Is(err, ErrNoMeter) {
		t.Errorf("nobody there and no reading gives %v", err)
	}
}
