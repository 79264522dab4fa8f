package signal

import (
	"math"
	"time"
)

// Step takes one sample. It first lets time pass up to the sample, so that the edges do not depend on how
// often Tick was called in between, then judges the value.
//
// Refused and counted in Dropped: samples older than the newest one (a reorder of some seconds costs nothing
// else), impossible values, and those further ahead of their arrival than Alive. The same sample twice
// changes nothing; of several for one instant the last counts. A retained sample sets Value alone.
func Step(state State, s Sample, cfg Config) (State, []Edge) {
	s.At, s.Arrived = s.At.UTC().Round(0), utc(s.Arrived)
	switch {
	case s.check() != nil || ahead(s, cfg) || s.At.Before(state.Last) && !s.Retained:
		state.Dropped++
		return state, nil
	case s.Retained:
		state.Value = s.Value
		return state, nil
	case s.At.Equal(state.Last) && state.Before == nil: // an edge rests on that one: it stands
		return state, nil
	case s.At.Equal(state.Last):
		state = state.undone()
	}
	var edges []Edge
	if !state.Last.IsZero() {
		state, edges = hold(state, earlier(s.At, state.Last.Add(cfg.Alive)), cfg)
	}
	state.Before = nil
	next, more := take(state, s, cfg)
	if len(more) == 0 { // an edge once told cannot be taken back
		next.Before = &state
	}
	return next, append(edges, more...)
}

// Tick lets time pass while no sample comes; now is our clock. It acts only for a live source, by both clocks: one
// whose last sample was less than Alive off our clock when it arrived. Up to Alive after that sample its value holds,
// so a dwell runs out without another one; a sender whose clock is minutes slow is therefore better read by arrival.
// Once nothing has arrived for longer than Alive, an open run is stopped at the last sample that ran, uncertain, and
// the phase is Unknown; if the machine in fact runs, the return of the source gives a new (uncertain) start. A
// caller that knows by other means that a silent source is online repeats its last value as a sample.
func Tick(state State, now time.Time, cfg Config) (State, []Edge) {
	if state.Arrived.IsZero() || state.Arrived.Sub(state.Last).Abs() > cfg.Alive {
		return state, nil
	}
	state, edges := hold(state, earlier(utc(now), state.Last.Add(cfg.Alive)), cfg)
	if now.Sub(state.Arrived) <= cfg.Alive || now.Sub(state.Listening) <= cfg.Alive || state.unknown() {
		return state, edges
	}
	if state.InRun() {
		edges = append(edges, state.stop(state.lastRan(), true, ruleSilent))
	}
	return state.reset(Unknown, state.Last, nil), edges
}

// Resume tells that we listen again from now on, our clock: until Alive has passed, silence is ours and not
// the source's. Called once when a stored State is taken up.
func Resume(state State, now time.Time) State {
	state.Listening = utc(now)
	return state
}

// hold ages the state with the last value held; how many steps it takes does not matter.
func hold(st State, to time.Time, cfg Config) (State, []Edge) {
	switch {
	case st.Phase == Starting && to.Sub(st.Since) >= cfg.StartFor:
		edge := Edge{Kind: Start, At: st.Since, Uncertain: st.Unsure, Rule: ruleAboveOn, Samples: st.Samples, LongestGap: st.LongestGap}
		st.Phase, st.Start, st.Ran, st.Before = Running, st.Since, st.Last, nil
		st.Extreme = cfg.extreme(st.Held)
		return st, []Edge{edge}
	case st.Phase == Ending && to.Sub(st.Since) >= cfg.EndFor:
		edge := st.stop(st.Since, false, ruleBelowOff)
		return st.reset(Idle, st.Since, cfg.extreme(st.Held)), []Edge{edge}
	}
	return st, nil
}

// take judges one value.
func take(st State, s Sample, cfg Config) (State, []Edge) {
	gap := s.At.Sub(st.Last)
	hole := gap > cfg.Alive && !st.Last.IsZero()
	var edges []Edge
	if st.InRun() && hole && (st.Phase == Ending || cfg.low(st, s.Value)) {
		edges = append(edges, st.stop(st.lastRan(), true, ruleHole))
		st = st.reset(Unknown, st.Last, cfg.extreme(s.Value))
	}
	if st.InRun() {
		st = st.inRun(s, cfg)
	} else {
		st = st.outOfRun(s, cfg, hole)
	}
	if st.Samples > 0 {
		st.LongestGap = max(st.LongestGap, gap)
	}
	if st.InRun() || st.Phase == Starting {
		st.Samples++
	}
	st.Extreme = cfg.follow(st, s.Value, gap)
	st.Last, st.Arrived, st.Held, st.Value = s.At, s.Arrived, s.Value, s.Value
	return st, edges
}

// inRun: between the thresholds a run goes on as it was, running or ending.
func (st State) inRun(s Sample, cfg Config) State {
	switch {
	case st.Phase == Running && cfg.low(st, s.Value):
		st.Phase, st.Since = Ending, s.At
	case st.Phase == Ending && cfg.high(st, s.Value):
		st.Phase, st.Since = Running, st.Start
	}
	if st.Phase == Running {
		st.Ran = s.At
	}
	return st
}

func (st State) outOfRun(s Sample, cfg Config, hole bool) State {
	if !cfg.high(st, s.Value) {
		if st.Phase != Idle || hole {
			st = st.reset(Idle, s.At, st.Extreme)
		}
		return st
	}
	if st.Phase != Starting || hole {
		unsure := st.unknown() || hole
		st = st.reset(Starting, s.At, st.Extreme)
		st.Unsure = unsure
	}
	return st
}

// low and high are the two thresholds as they stand in a phase; with Drop they also move with the temperature.
func (c Config) low(st State, value float64) bool {
	return value <= c.Off || c.Drop > 0 && st.Extreme != nil && value <= *st.Extreme-c.Drop
}

func (c Config) high(st State, value float64) bool {
	switch {
	case value < c.On || c.Drop == 0 || st.Extreme == nil:
		return value >= c.On
	case st.InRun():
		return value >= *st.Extreme-c.Drop/2
	}
	return value >= *st.Extreme+c.Drop
}

// follow keeps the plateau of a run (slowly forgetting) or the trough since the last stop. In the dwells it stands still.
func (c Config) follow(st State, value float64, gap time.Duration) *float64 {
	switch {
	case st.Phase == Idle && st.Extreme != nil:
		return c.extreme(min(*st.Extreme, value))
	case st.Phase == Idle:
		return c.extreme(value)
	case st.Phase == Running && st.Extreme != nil:
		above := max(0, *st.Extreme-value)
		return c.extreme(value + above*math.Exp(-gap.Hours()/plateauMemory.Hours()))
	}
	return st.Extreme
}

// extreme begins the plateau of a run or the trough after it.
func (c Config) extreme(value float64) *float64 {
	if c.Drop == 0 {
		return nil
	}
	return &value
}

func (st State) stop(at time.Time, uncertain bool, rule string) Edge {
	return Edge{Kind: Stop, At: at, Uncertain: uncertain, Rule: rule, Samples: st.Samples, LongestGap: st.LongestGap}
}

// lastRan dates a stop that no dwell has proved: the first low sample where there is one, else the last that ran.
func (st State) lastRan() time.Time {
	if since, low := LowSince(st); low {
		return since
	}
	return st.Ran
}

// reset begins a phase outside a run; what belongs to the source rather than to the run stays.
func (st State) reset(phase Phase, since time.Time, extreme *float64) State {
	return State{Phase: phase, Since: since, Extreme: extreme,
		Last: st.Last, Arrived: st.Arrived, Listening: st.Listening, Held: st.Held, Value: st.Value, Dropped: st.Dropped}
}

// undone is the state before the newest sample; the counts that are not of the machine stay.
func (st State) undone() State {
	before := *st.Before
	before.Dropped, before.Listening = st.Dropped, st.Listening
	return before
}

func (st State) unknown() bool {
	return st.Phase == Unknown || st.Phase == ""
}

// ahead tells a clock that runs away: taken, one such sample would make every later one look old.
func ahead(s Sample, cfg Config) bool {
	return !s.Arrived.IsZero() && s.At.Sub(s.Arrived) > cfg.Alive
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

func utc(t time.Time) time.Time {
	return t.UTC().Round(0)
}
