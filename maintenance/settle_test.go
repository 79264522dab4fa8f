package maintenance

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// VG 68, 100 mm, 20 °C: droplets of 30 µm are down in 3.378423 days (physics check T06-024).
const settleH = 3.378423 * 24

func TestReadyAt(t *testing.T) {
	wait := func(b *tale, name string) float64 {
		require.NotNil(t, b.vessel(name).ReadyAt)
		return b.vessel(name).ReadyAt.Sub(b.vessel(name).Since).Hours()
	}
	t.Run("of oil at its store's temperature: the droplet's way down", func(t *testing.T) {
		require.InDelta(t, settleH, wait(jarOf(t, "grams=500 water_g=20", 0), "jar-1"), 0.01)
	})
	t.Run("of a hot drain: six hours more, until the jar stands still", func(t *testing.T) {
		b := newTale(t, "pump pump=north charge_ml=700", "weigh pump=north grams=600", "vessel vessel=jar-1").ran(48).tell("drain pump=north to=jar-1")
		require.InDelta(t, settleH+6, wait(b, "jar-1"), 0.01)
		require.Zero(t, func() float64 { b.after(6); return b.vessel("jar-1").Settled }())
		require.Greater(t, func() float64 { b.after(1); return b.vessel("jar-1").Settled }(), 0.01)
	})
	for _, c := range []struct {
		name, jar string
		h         float64
	}{
		{"120 mm at its capacity, less full less deep", "capacity_ml=1000", settleH * 1.2 * 500 / 866.8576},
		{"as deep as told", "capacity_ml=1000 height_mm=200", settleH * 2 * 500 / 866.8576},
		{"as deep as told, capacity unknown", "height_mm=200", settleH * 2},
		{"at 5 °C 11.5 days", "store_c=5", 11.5 * 24},
		{"at 50 °C five and a half times as fast, but never sooner than a day", "store_c=50", 24},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newTale(t, "vessel vessel=jar-1 "+c.jar, "weigh vessel=jar-1 grams=500")
			require.InEpsilon(t, c.h, wait(b, "jar-1"), 0.02)
		})
	}
	t.Run("a thicker oil takes longer", func(t *testing.T) {
		b := newTale(t, "lot lot=thick vessel=can-1 grams=10 grade=VG100", "vessel vessel=jar-1", "weigh vessel=jar-1 grams=500 lot=thick")
		require.InDelta(t, settleH*39.9682*39.9682/31.83593/31.83593, wait(b, "jar-1"), 0.1, "by the cut diameters after 3 days (T06-015, T06-023)")
		b.tell("pour from=can-1 to=jar-1", "vessel vessel=jar-2", "weigh vessel=jar-2 grams=900", "pour from=jar-1 to=jar-2 grams=100")
		require.InDelta(t, settleH, wait(b, "jar-2"), 0.1, "the main lot decides, known or not")
	})
	t.Run("oil as heavy as water never settles, nor does it below 0 °C", func(t *testing.T) {
		b := newTale(t, "lot lot=heavy vessel=can-1 grams=10 density_15=1100", "vessel vessel=jar-1", "weigh vessel=jar-1 grams=500 lot=heavy water_g=20")
		require.Nil(t, b.vessel("jar-1").ReadyAt)
		require.Zero(t, b.after(1000).vessel("jar-1").Settled)
		b = newTale(t, "vessel vessel=jar-1 store_c=-5", "weigh vessel=jar-1 grams=500 water_g=20")
		require.Nil(t, b.vessel("jar-1").ReadyAt)
		require.Zero(t, b.after(1000).vessel("jar-1").Settled)
	})
	t.Run("limits move it", func(t *testing.T) {
		b := jarOf(t, "grams=500", 0)
		b.rules.Limits.SettleUm = num(60)
		require.InDelta(t, 24, wait(b, "jar-1"), 0.01)
		b.rules.Limits.SettleMinH = num(1)
		require.InDelta(t, settleH/4, wait(b, "jar-1"), 0.01)
	})
	t.Run("nothing waits in an empty vessel, nor new, decanted or filtered oil", func(t *testing.T) {
		b := kitchen(t)
		require.Nil(t, b.vessel("jar-1").ReadyAt)
		require.Nil(t, b.vessel("can-1").ReadyAt)
	})
	t.Run("ice is hard after a night, or later if there is more of it", func(t *testing.T) {
		require.InDelta(t, 12, wait(jarOf(t, "grams=500 water_g=10", 0).tell("freeze vessel=jar-1"), "jar-1"), 1e-9)
		// Plank, a slab cooled from one side, −18 °C, 10 W/(m2 K): 50 mm take
		// 333.43 kJ/kg × 999.84 kg/m3 / 18 K × (0.05/10 + 0.05²/(2×2.2)) s = 28.7 h.
		require.InDelta(t, 2*28.65+0.8, wait(jarOf(t, "grams=500 water_g=250", 0).tell("freeze vessel=jar-1"), "jar-1"), 0.5)
	})
}

func TestSettled(t *testing.T) {
	t.Run("16 % after 6 h, 43 % after a day, 69 % after three", func(t *testing.T) {
		for h, share := range map[float64]float64{6: 0.1633798, 24: 0.4264489, 72: 0.690315} {
			require.InDelta(t, share, jarOf(t, "grams=500 water_g=50", h).vessel("jar-1").Settled, 1e-4, "physics checks T06-029 to T06-031")
		}
	})
	t.Run("of no free water is 1", func(t *testing.T) {
		require.Equal(t, 1.0, jarOf(t, "grams=500 water_g=0.01", 0).vessel("jar-1").Settled, "dissolved")
		require.Equal(t, 1.0, kitchen(t).vessel("jar-1").Settled)
	})
	t.Run("filtered oil settles too, frozen oil does not", func(t *testing.T) {
		require.Greater(t, jarOf(t, "grams=500 water_g=50 stage=filtered", 24).vessel("jar-1").Settled, 0.4)
		b := jarOf(t, "grams=500 water_g=50", 24)
		before := b.vessel("jar-1").Settled
		b.tell("freeze vessel=jar-1").after(48)
		require.InDelta(t, before, b.vessel("jar-1").Settled, 1e-4)
	})
	t.Run("a jar carried to another place keeps what has sunk, and goes on at that place's pace", func(t *testing.T) {
		b := jarOf(t, "grams=500 water_g=50", 48)
		before, ready := b.vessel("jar-1").Settled, *b.vessel("jar-1").ReadyAt
		b.tell("vessel vessel=jar-1 store_c=5")
		v := b.vessel("jar-1")
		require.InDelta(t, before, v.Settled, 0.01, "a little more falls out of solution in the cold")
		require.True(t, v.ReadyAt.After(ready.Add(48*time.Hour)))
		left := 11.5 * 24 * (1 - 48/settleH) // 11.5 days at 5 °C, of which the share still to go
		still := jarTauH * 2.0149            // ln(15/2): 15 K down to 2 K
		require.InDelta(t, 48+still+left, v.ReadyAt.Sub(v.Since).Hours(), 3)
		b.after(24).tell("vessel vessel=jar-1 store_c=20")
		require.GreaterOrEqual(t, b.vessel("jar-1").Settled, before)
		require.True(t, b.vessel("jar-1").ReadyAt.Before(*v.ReadyAt))
	})
	t.Run("a revision that moves nothing stirs nothing", func(t *testing.T) {
		b := jarOf(t, "grams=500 water_g=50", 48)
		before := *b.s.Vessels["jar-1"]
		b.tell("vessel vessel=jar-1 store_c=20 tare_g=400")
		require.Equal(t, before.ClockAt, b.s.Vessels["jar-1"].ClockAt)
	})
	t.Run("a jar carried into frost and back has lost no time but that", func(t *testing.T) {
		b := jarOf(t, "grams=500 water_g=50", 48)
		b.tell("vessel vessel=jar-1 store_c=-10").after(24)
		require.Zero(t, b.vessel("jar-1").Settled, "the formula does not hold there")
		b.tell("vessel vessel=jar-1 store_c=20").after(24)
		require.Greater(t, b.vessel("jar-1").Settled, 0.55)
	})
}

func TestReadyForAPump(t *testing.T) {
	for why, jar := range map[string]string{
		"it is empty":                   "grams=0",
		"it is waste":                   "grams=500 stage=waste",
		"it is drained, not filtered":   "grams=500",
		"":                              "grams=500 stage=new",
		"it is decanted, not filtered":  "grams=500 stage=decanted",
		"it is recovered, not filtered": "grams=500 stage=recovered",
	} {
		b := jarOf(t, jar, 0)
		require.Equal(t, why, b.s.notReady(b.s.Vessels["jar-1"], b.rules.Limits))
	}
	t.Run("oil told to be filtered has had a pass", func(t *testing.T) {
		b := jarOf(t, "grams=500 stage=filtered", 0)
		require.True(t, b.s.isReady(b.s.Vessels["jar-1"], b.rules.Limits))
		b.rules.Limits.FilterPasses = num(2)
		require.Equal(t, "it has had 1 of 2 filter passes", b.s.notReady(b.s.Vessels["jar-1"], b.rules.Limits))
	})
	t.Run("filtered oil may hold little free water, settled or not", func(t *testing.T) {
		b := jarOf(t, "grams=500 water_g=10", 0).tell("filter from=jar-1 to=jar-2").after(2000)
		require.Contains(t, b.s.notReady(b.s.Vessels["jar-2"], b.rules.Limits), "of free water, more than 2 g")
		b.tell("weigh vessel=jar-2 grams=500 water_g=2")
		require.True(t, b.s.isReady(b.s.Vessels["jar-2"], b.rules.Limits))
	})
}

// 70 °C, room 20 °C, 60 min: it closes at 42.59 °C after 47.66 min, and is safe to touch
// after 13.39 min (physics checks T05-006, T05-007, T05-015).
func TestHotWindow(t *testing.T) {
	b := newTale(t, "pump pump=north charge_ml=700 hot_c=70 ambient_c=20", "weigh pump=north grams=600")
	_, ok := b.s.hotWindow(b.s.Pumps["north"], b.rules)
	require.False(t, ok, "it never stopped")
	b.tell("start pump=north").after(24)
	_, ok = b.s.hotWindow(b.s.Pumps["north"], b.rules)
	require.False(t, ok, "it runs")
	b.tell("stop pump=north")
	w, ok := b.s.hotWindow(b.s.Pumps["north"], b.rules)
	require.True(t, ok)
	require.Equal(t, b.now, w.opens)
	require.InDelta(t, 47.66249, w.closes.Sub(w.opens).Minutes(), 1e-3)
	require.InDelta(t, 42.59318, w.endC, 1e-4)
	cool := b.s.Pumps["north"].factor(factorCool)
	require.InDelta(t, 13.38861*cool.High, w.safe.Sub(w.opens).Minutes(), 1e-3, "at the latest: a pump that cools slowly burns longer")
	require.InDelta(t, 47.66249*cool.Low, w.low.Sub(w.opens).Minutes(), 1e-3)
	require.InDelta(t, 47.66249*cool.High, w.high.Sub(w.opens).Minutes(), 1e-3)

	t.Run("a pump stopped cold was never in it", func(t *testing.T) {
		b.after(10).tell("start pump=north").after(0.01).tell("stop pump=north")
		w, ok := b.s.hotWindow(b.s.Pumps["north"], b.rules)
		require.True(t, ok)
		require.Equal(t, w.opens, w.closes)
		require.Equal(t, w.opens, w.safe)
	})
	t.Run("a warm room never closes it", func(t *testing.T) {
		b.tell("pump pump=north ambient_c=45").ran(24)
		_, ok := b.s.hotWindow(b.s.Pumps["north"], b.rules)
		require.False(t, ok)
	})
}
