package daemon

import (
	"bytes"
	"errors"
	"fmt"
	"net/http"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"sumpbook/maintenance/signal"
)

// A pushed reading is one as a machine posts it. Without at it is dated by its arrival.
// Power decides where a machine tells it, else the temperature; a pressure is shown as the
// newest and starts and stops nothing.
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

const (
	maxPushed  = 20_000  // samples in one request
	greatestPa = 110_000 // as of a vacuum entry
)

func (k *Keeper) postSignals(r *http.Request) (any, error) {
	sensor, err := k.sensorFor(r.PathValue("pump"))
	if err != nil {
		return nil, err
	}
	b, err := body(r)
	if err != nil {
		return nil, err
	}
	now := k.clock()
	readings, err := decodeReadings(b, now)
	if err != nil {
		return nil, err
	}
	if err := sensor.Take(r.Context(), now, readings); err != nil {
		return nil, err
	}
	st := sensor.State()
	return SignalReceipt{len(readings), st.Phase, st.Since, st.Dropped}, nil
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
	return k.sensorOf(k.posted(pump))
}

func decodeReadings(b []byte, now time.Time) ([]Reading, error) {
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
	readings := make([]Reading, 0, len(all))
	for i, p := range all {
		r, err := p.reading(now)
		if err != nil {
			return nil, problem(http.StatusBadRequest, fmt.Sprintf("sample %d: %v", i+1, err), wantSample)
		}
		readings = append(readings, r)
	}
	return readings, nil
}

const wantSample = `send {"at":TIME?,"power_w":NUMBER?,"temp_c":NUMBER?,"pa":NUMBER?} or an array of them`

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
	return problem(http.StatusBadRequest, "not samples"+where+": "+err.Error(), wantSample)
}

func (p pushed) reading(now time.Time) (Reading, error) {
	r := Reading{At: now, Arrived: now, Power: p.PowerW, TempC: p.TempC, Pa: p.Pa}
	if p.At != nil {
		r.At = *p.At
	}
	if p.PowerW == nil && p.TempC == nil && p.Pa == nil {
		return r, errors.New("it holds none of power_w, temp_c and pa")
	}
	return r, r.check()
}

// check refuses what no meter can have measured, and when none can have.
func (r Reading) check() error {
	values := []float64{0}
	for _, v := range []*float64{r.Power, r.TempC} {
		if v != nil {
			values = append(values, *v)
		}
	}
	for _, v := range values {
		if _, err := signal.NewSample(r.At, r.Arrived, v); err != nil {
			return err
		}
	}
	if r.Pa != nil && !(*r.Pa > 0 && *r.Pa <= greatestPa) {
		return fmt.Errorf("pa %v: want a pressure above 0, up to %d", *r.Pa, greatestPa)
	}
	return nil
}
