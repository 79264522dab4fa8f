package maintenance

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func anyParcel(t *rapid.T) Parcel {
	var p Parcel
	for _, lot := range []string{"a-1", "b-2", "c-3"} {
		p = p.mixed(oilOf(lot, Mass(rapid.Int64Range(0, 2_000_000).Draw(t, lot))))
	}
	oil := p.OilMass()
	p.Water = Mass(rapid.Int64Range(0, 50_000).Draw(t, "water"))
	p.WaterLow, p.WaterHigh = p.Water/2, p.Water*2
	if oil > 0 {
		p.Fresh = Mass(rapid.Int64Range(0, int64(oil)).Draw(t, "fresh"))
		p.RunGH = rapid.Float64Range(0, 1e6).Draw(t, "run")
	}
	return p
}

// A part and what is left of it are the whole, to the milligram (largest remainder).
func TestSplittingAParcelConserves(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyParcel(t)
		if p.Empty() {
			return
		}
		m := Mass(rapid.Int64Range(0, int64(p.Total())).Draw(t, "m"))
		q := p.share(m)
		r := p.without(q)
		require.Equal(t, m, q.Total())
		require.Equal(t, p.Total()-m, r.Total())
		both := q.mixed(r)
		require.Equal(t, p.Oil, both.Oil)
		require.Equal(t, p.Water, both.Water)
		require.Equal(t, p.Fresh, both.Fresh)
		require.InDelta(t, p.RunGH, both.RunGH, 1e-6*(1+p.RunGH))
		for _, part := range []Parcel{q, r} {
			require.LessOrEqual(t, part.WaterLow, part.Water)
			require.GreaterOrEqual(t, part.WaterHigh, part.Water)
			require.GreaterOrEqual(t, part.Fresh, Mass(0))
			require.LessOrEqual(t, part.Fresh, part.OilMass())
		}
	})
}

func TestMixingIsCommutativeAndAssociative(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, q, r := anyParcel(t), anyParcel(t), anyParcel(t)
		require.Equal(t, p.mixed(q).Oil, q.mixed(p).Oil)
		require.Equal(t, p.mixed(q).mixed(r).Oil, p.mixed(q.mixed(r)).Oil)
		require.Equal(t, p.mixed(q).Water, q.mixed(p).Water)
		require.InDelta(t, p.mixed(q).RunGH, q.mixed(p).RunGH, 1e-6)
	})
}

// One milligram over three lots goes to one of them; a million proportional moves drift
// by nothing.
func TestASingleMilligramIsSomewhere(t *testing.T) {
	p := Parcel{Oil: []LotMass{{"a", 1}, {"b", 1}, {"c", 1}}}
	q := p.share(1)
	require.Equal(t, Mass(1), q.Total())

	left := Parcel{Oil: []LotMass{{"a", 333_333_333}, {"b", 333_333_334}}, Water: 7}
	moved := Parcel{}
	for range 1000 {
		part := left.share(997)
		left, moved = left.without(part), moved.mixed(part)
	}
	require.Equal(t, Mass(666_666_674), left.Total()+moved.Total())
	require.Equal(t, Mass(333_333_333), left.Oil[0].Mass+moved.Oil[0].Mass)
	require.Equal(t, Mass(7), left.Water+moved.Water)
}

func TestASurplusOfNothingIsUnknown(t *testing.T) {
	q := Parcel{}.share(500)
	require.Equal(t, []LotMass{{UnknownLot, 500}}, q.Oil)
	require.Equal(t, Mass(500), q.AgeUnsure)
}
