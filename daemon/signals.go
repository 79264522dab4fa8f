package daemon

import (
	"bytes"
	"errors"
	"fmt"
	"net/http"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"sumpbook/config"
	"sumpbook/maintenance/signal"
)

// A pushed sample is one reading as a machine posts it. Without at it is dated by its
// arrival. A pressure is kept as the newest reading; it starts and stops nothing.
type pushed struct {
	At     *time.Time `json:"at"`
	PowerW *float64   `json:"power_w"`
	TempC  *float64   `json:"temp_c"`
	Pa     *float64   `json:"pa"`
}

// A SignalReceipt says how many samples were judged, and what the detector now believes.
type SignalReceipt struct {
	Samples int          `json:"samples"`
	Phase   signal.Phase `json:"phase"`
	Since   time.Time    `json:"since"`
	Dropped int          `json:"dropped"`
}

const maxPushed = 20_000 // samples in one request

func (k *Keeper) postSignals(r *http.Request) (any, error) {
	sensor, err := k.sensorFor(r.PathValue("pump"))
	if err != nil {
		return nil, err
	}
	b, err := body(r, maxSignal)
	if err != nil {
		return nil, err
	}
	now := k.clock()
	samples, err := decodeSamples(b, now)
	if err != nil {
		return nil, err
	}
	if err := sensor.Take(r.Context(), now, samples); err != nil {
		return nil, err
	}
	st := sensor.State()
	return SignalReceipt{len(samples), st.Phase, st.Since, st.Dropped}, nil
}

// sensorFor is the pump's configured source, or one by the general thresholds for a pump
// that is on the book.
func (k *Keeper) sensorFor(pump string) (*Sensor, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if s := k.sensors[pump]; s != nil {
		return s, nil
	}
	if p := k.book.now.Load().state.Pumps[pump]; p == nil || p.Retired {
		return nil, problem(http.StatusNotFound, fmt.Sprintf("no pump named %q is on the book or in the sources", pump), "declare it first: sumpbook add pump pump="+pump+" charge_ml=700")
	}
	src := config.Source{Pump: pump, Type: "http", Signals: k.settings.Config.Signals}
	s, err := NewSensor(k.book, pump, "http:"+pump, detectorConfig(src), k.log, k.clock())
	if err == nil {
		k.sensors[pump] = s
	}
	return s, err
}

func decodeSamples(b []byte, now time.Time) ([]signal.Sample, error) {
	b = bytes.TrimSpace(b)
	if len(b) > 0 && b[0] != '[' {
		b = append(append([]byte{'['}, b...), ']')
	}
	var all []pushed
	if err := json.Unmarshal(b, &all, json.RejectUnknownMembers(true)); err != nil {
		return nil, badSample(err)
	}
	if len(all) == 0 || len(all) > maxPushed {
		return nil, problem(http.StatusBadRequest, fmt.Sprintf("%d samples in one request", len(all)), fmt.Sprintf("send 1 to %d", maxPushed))
	}
	samples := make([]signal.Sample, 0, len(all))
	for i, p := range all {
		s, err := p.sample(now)
		if err != nil {
			return nil, problem(http.StatusBadRequest, fmt.Sprintf("sample %d: %v", i+1, err), `send {"at":TIME,"power_w":NUMBER}`)
		}
		samples = append(samples, s)
	}
	return samples, nil
}

func badSample(err error) error {
	where := ""
	var sem *json.SemanticError
	var syn *jsontext.SyntacticError
	switch {
	case errors.As(err, &sem):
		where = " at " + string(sem.JSONPointer)
	case errors.As(err, &syn):
		where = " at " + string(syn.JSONPointer)
	}
	return problem(http.StatusBadRequest, "not samples"+where+": "+err.Error(), `send {"at":TIME?,"power_w":NUMBER?,"temp_c":NUMBER?,"pa":NUMBER?} or an array of them`)
}

func (p pushed) sample(now time.Time) (signal.Sample, error) {
	at := now
	if p.At != nil {
		at = *p.At
	}
	for _, v := range []*float64{p.PowerW, p.TempC} {
		if v != nil {
			return signal.NewSample(at, now, *v)
		}
	}
	return signal.Sample{}, errors.New("it holds neither power_w nor temp_c")
}
