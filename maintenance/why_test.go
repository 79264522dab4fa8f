package maintenance

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestLawEveryActionHasAWorking(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := anyBook(t)
		now := b.someTime(t)
		known := map[string]bool{}
		for _, e := range b.told {
			known[e.ID] = true
		}
		for _, a := range Next(b.s, b.r, now) {
			w, ok := Why(b.s, b.r, now, a.ID)
			require.True(t, ok, a.ID)
			require.Equal(t, a, w.Action)
			require.NotEmpty(t, w.Steps, a.ID)
			requireByHand(t, w)
			for _, s := range w.Steps {
				requireFinite(t, a.ID+": "+s.Name, s.Result, or(s.Low, 0), or(s.High, 0), or(s.Limit, 0))
				for _, in := range s.Inputs {
					requireFinite(t, a.ID+": "+s.Name+": "+in.Name, in.Value, or(in.AgeH, 0))
					require.True(t, in.Entry == "" || known[in.Entry], "%s: %s comes from no entry: %s", s.Name, in.Name, in.Entry)
				}
			}
		}
		_, ok := Why(b.s, b.r, now, "drain/north/nowhere")
		require.False(t, ok)
	})
}

func requireFinite(t *rapid.T, what string, all ...float64) {
	for _, v := range all {
		require.False(t, math.IsNaN(v) || math.IsInf(v, 0), what)
	}
}

// Each thing of which something could be asked is either asked or told why not.
func TestLawNothingIsSilentWithoutAReason(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := anyBook(t)
		now := b.someTime(t)
		do := rapid.SampledFrom(Dos()).Draw(t, "do")
		speaks := map[string]bool{}
		for _, a := range Next(b.s, b.r, now) {
			if a.Do == do {
				speaks[strings.Split(a.ID, "/")[1]] = true
			}
		}
		for _, says := range WhyNot(b.s, b.r, now, do) {
			name, _, _ := strings.Cut(says, ":")
			require.False(t, speaks[name] && do != DoCheck, "%s is asked, and yet: %s", do, says)
			speaks[name] = true
		}
		for _, name := range subjectsOf(b, do) {
			require.True(t, speaks[name], "%s of %s is neither asked nor explained", do, name)
		}
	})
}

func subjectsOf(b *book, do Do) []string {
	pumps := keysOf(b.s.Pumps, func(p *Pump) bool { return !p.Retired })
	switch do {
	case DoChangeMedium:
		return sortedKeys(b.s.Media)
	case DoDecant, DoSeparate, DoFreeze, DoFilter, DoHandIn:
		return keysOf(b.s.Vessels, func(v *Vessel) bool { return !v.Retired })
	case DoCare:
		var all []string
		for _, task := range b.r.Care {
			for _, p := range pumps {
				all = append(all, task.Task+"@"+p)
			}
		}
		return all
	}
	return pumps
}

func stepOf(t *testing.T, w Working, name string) Step {
	for _, s := range w.Steps {
		if s.Name == name {
			return s
		}
	}
	require.Fail(t, "no step "+name)
	return Step{}
}

// The numbers are those of testdata/checks: T05-006 and T05-007 (VG 68 from 70 °C in a room
// of 20 °C, time constant 60 min, closing at three times the viscosity), and T02-002 (7 m3/h
// behind a trap at -40 °C for 24 h), of which the pump draws 0.8.
func TestWhyShowsTheWorkingOfADrain(t *testing.T) {
	told := []Entry{
		{ID: "north", At: day0, Act: &PumpAct{Pump: "north", ChargeMl: num(700), HeelMl: num(20), SpeedM3H: num(7), HotC: num(70), AmbientC: num(20), CoolTauMin: num(60)}},
		{ID: "lot", At: day0, Act: &LotAct{Lot: "lot-1", Vessel: "can-1", Grade: "VG 68", Amount: Amount{Grams: num(4000)}}},
		{ID: "fill", At: day0, Act: &FillAct{Pump: "north", From: "can-1"}},
		{ID: "run", At: day0, Act: &StartAct{Pump: "north", TrapC: num(-40)}},
		{ID: "end", At: day0.Add(24 * time.Hour), Act: &StopAct{Pump: "north", HotC: num(70), TrapC: num(-40)}},
	}
	s, err := Fold(DefaultRules(), told)
	require.NoError(t, err)
	now := day0.Add(24*time.Hour + 10*time.Minute)
	w, ok := Why(s, DefaultRules(), now, "drain/north/run")
	require.True(t, ok)

	carried := stepOf(t, w, "water carried past the trap")
	require.InDelta(t, 0.8*15.9452223881, carried.Result, 1e-6)
	require.Less(t, *carried.Low, carried.Result)
	require.Greater(t, *carried.High, carried.Result)
	require.InDelta(t, 42.5931815847, stepOf(t, w, "temperature at which the window closes").Result, 1e-6)
	window := stepOf(t, w, "length of the window")
	require.InDelta(t, 47.6624906677, window.Result, 1e-6)
	require.Equal(t, Input{Name: "stop_c", Value: 70, Unit: "C", From: "told at the stop", Entry: "end", AgeH: num(10. / 60)}, window.Inputs[0])
	require.InDelta(t, 47.6624906677-10, reasonOf(t, w.Action, "minutes_left").Value, 1e-6)
	require.InDelta(t, 1, stepOf(t, w, "drain_cycles").Result, 0)
	require.Equal(t, day0.Add(24*time.Hour), w.Action.Opens)
	require.Equal(t, w.Action.Due, *w.Action.Closes)
}

func reasonOf(t *testing.T, a Action, rule string) Reason {
	for _, r := range a.Why {
		if r.Rule == rule {
			return r
		}
	}
	require.Fail(t, "no reason "+rule)
	return Reason{}
}

func TestWhyNotNamesTheNumbers(t *testing.T) {
	s, now := afterOneCycle(t)
	require.Empty(t, WhyNot(s, DefaultRules(), now, DoDrain))
	require.Equal(t, []string{"north: it is not running"}, WhyNot(s, DefaultRules(), now, DoStopPump))
	require.Equal(t, []string{"north: no limit is reached: life of the oil in run hours, 30 of 600 h; life of the oil in charges served, 1 of 20 charges since the oil was last fully replaced"}, WhyNot(s, DefaultRules(), now, DoReplace))
	require.Equal(t, []string{"paper: no pass of it was timed"}, WhyNot(s, DefaultRules(), now, DoChangeMedium))
	require.Equal(t, []string{"no upkeep task is configured"}, WhyNot(s, DefaultRules(), now, DoCare))
	require.Equal(t, []string{"no vessel is on the book"}, WhyNot(NewState(), DefaultRules(), now, DoDecant))
}
