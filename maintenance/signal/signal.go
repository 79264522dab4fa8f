// Package signal turns samples of a machine's power (or temperature, or a plain on/off) into the starts and
// stops of its runs. It is pure: samples, settings and now come in, edges go out; the whole memory is a State
// that the caller keeps on disk, so that a kill in mid-dwell or mid-run loses nothing.
//
// How it judges: two thresholds with a dwell each. A start needs every sample of the dwell at or above On;
// a stop needs the dwell below On, from the first sample at or below Off. Both are
// dated at the first sample of the dwell, not at its expiry. Between samples the last value holds for as long
// as the source counts as alive; what lies beyond is a hole, and a hole alone never ends a run: what the next
// sample says decides. Every time in a State or an Edge is UTC.
package signal

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// greatest bounds every value, W or °C: a household circuit ends far below 50 kW.
const greatest = 50_000

// plateauMemory is how fast the plateau of a temperature source forgets: slow beside a pump that cools after
// its stop, fast beside the nightly fall of a cold garage, which must not look like a stop. Common practice, no source.
const plateauMemory = 3 * time.Hour

// Config holds the thresholds and dwells of one source.
type Config struct {
	On, Off     float64       // W, °C, or 1 and 0; On is above Off
	Drop        float64       // °C; >0 for a temperature: a stop is also this much below the plateau, a start this much above the trough
	StartFor    time.Duration // a run has started when On was held this long
	EndFor      time.Duration // and has ended after this long
	ShortestRun time.Duration // a shorter run is recorded, but is no cycle
	Alive       time.Duration // a value holds this long after its sample; then the source is silent
}

// Defaults are the settings for a power source.
func Defaults() Config {
	return Config{On: 120, Off: 60, StartFor: 2 * time.Minute, EndFor: 3 * time.Minute,
		ShortestRun: 20 * time.Minute, Alive: 15 * time.Minute}
}

// Check names the first setting that cannot work.
func (c Config) Check() error {
	switch {
	case !(math.Abs(c.On) <= greatest && math.Abs(c.Off) <= greatest):
		return fmt.Errorf("signal thresholds on %v and off %v: want numbers up to %d", c.On, c.Off, greatest)
	case c.On <= c.Off:
		return fmt.Errorf("signal thresholds on %v and off %v: on has to be above off", c.On, c.Off)
	case !(c.Drop >= 0 && c.Drop <= 100):
		return fmt.Errorf("signal drop %v: want 0 to 100", c.Drop)
	case c.StartFor < 0 || c.EndFor < 0 || c.ShortestRun < 0:
		return errors.New("signal dwell: a duration below zero")
	case c.Alive <= 0:
		return fmt.Errorf("signal alive %v: want more than nothing", c.Alive)
	}
	return nil
}

// A Sample is one value a source gave.
type Sample struct {
	At       time.Time // by the sender's clock where it sends one, else the arrival
	Arrived  time.Time // by our clock; zero in a recorded trace, which no ticker follows
	Value    float64   // W, °C, or 1 and 0; a relay known to be off makes a power 0
	Retained bool      // replayed by a broker: of unknown age, so it shows a value but is no event
}

// NewSample refuses what no meter can have measured: NaN, infinities, more than 50 kW, times outside 1970 to 9999.
func NewSample(at, arrived time.Time, value float64) (Sample, error) {
	s := Sample{At: at, Arrived: arrived, Value: value}
	return s, s.check()
}

func (s Sample) check() error {
	if !(math.Abs(s.Value) <= greatest) {
		return fmt.Errorf("sample %v: want a number up to %d", s.Value, greatest)
	}
	if year := s.At.UTC().Year(); year < 1970 || year > 9999 {
		return fmt.Errorf("sample at %v: want a time from 1970 to 9999", s.At.UTC())
	}
	return nil
}

// A Phase is what the detector believes of the machine.
type Phase string

// The phases. Starting is not yet a run; Ending is still one. Unknown is a source that has not spoken, or fell silent.
const (
	Unknown  Phase = "unknown"
	Idle     Phase = "idle"
	Starting Phase = "starting"
	Running  Phase = "running"
	Ending   Phase = "ending"
)

// State is all that is remembered of a source. The zero State is Unknown. It is written as JSON and read back unchanged.
type State struct {
	Phase      Phase         `json:"phase"`
	Since      time.Time     `json:"since"`                   // first sample of the phase; of a run, its start
	Start      time.Time     `json:"start,omitzero"`          // start of the run, in Running and Ending
	Ran        time.Time     `json:"ran,omitzero"`            // last sample of the run that was not low
	Last       time.Time     `json:"last,omitzero"`           // newest sample taken, by the sender's clock
	Arrived    time.Time     `json:"arrived,omitzero"`        // the same, by ours
	Listening  time.Time     `json:"listening,omitzero"`      // since when we listen, by our clock (Resume)
	Held       float64       `json:"held"`                    // its value
	Value      float64       `json:"value"`                   // what to show: Held, or a retained value that came after it
	Extreme    *float64      `json:"extreme,omitempty"`       // with Drop: plateau of the run, or trough since the stop
	Unsure     bool          `json:"unsure,omitzero"`         // the start dwell began with nothing known just before
	Samples    int           `json:"samples,omitzero"`        // taken since the start dwell began
	LongestGap time.Duration `json:"longest_gap_ns,omitzero"` // between two of them, ns
	Dropped    int           `json:"dropped,omitzero"`        // samples refused: late, impossible, ahead of our clock
	Before     *State        `json:"before,omitempty"`        // without the newest sample, should another come for the same time
}

// Kind says which end of a run an Edge is.
type Kind string

// The kinds of edge.
const (
	Start Kind = "start"
	Stop  Kind = "stop"
)

// An Edge is the start or the stop of a run.
type Edge struct {
	Kind       Kind
	At         time.Time     // first sample of the dwell, or the last sample that ran
	Uncertain  bool          // it happened at some time next to a hole in the record
	Rule       string        // above-on, below-off, low-after-hole or silent
	Samples    int           // that it rests on: of the start dwell, or of the whole run
	LongestGap time.Duration // between two of these samples
}

// The rules an Edge names.
const (
	ruleAboveOn  = "above-on"
	ruleBelowOff = "below-off"
	ruleHole     = "low-after-hole"
	ruleSilent   = "silent"
)

// LowSince is the first low sample of a run that is about to be judged ended: the stop it will get if the
// dwell runs out. False while the machine runs or idles.
func LowSince(state State) (time.Time, bool) {
	return state.Since, state.Phase == Ending
}

// InRun tells whether a run is open.
func (st State) InRun() bool {
	return st.Phase == Running || st.Phase == Ending
}
