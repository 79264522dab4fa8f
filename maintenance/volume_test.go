package maintenance

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Table 54D: oil of 870 kg/m3 at 15 °C shrinks by 0.9963881 to 20 °C and 0.9598784 to 70 °C
// (physics checks T04-074, T04-076). Water is 999.1 kg/m3 at 15 °C, 977.8 at 70 °C (CRC).
func TestVolume(t *testing.T) {
	b := newTale(t, "lot lot=a vessel=can-1 grams=870", "lot lot=b vessel=can-2 grams=900 density_15=900")
	volume := func(p Parcel, tC float64) float64 { return b.s.volumeMl(p, tC) }
	t.Run("of oil without a told density", func(t *testing.T) {
		require.InDelta(t, 1000, volume(oilOf("a", MassOf(870)), 15), 1e-9)
		require.InDelta(t, 1000/0.9963881, volume(oilOf("a", MassOf(870)), 20), 1e-3)
		require.InDelta(t, 1000/0.9598784, volume(oilOf(UnknownLot, MassOf(870)), 70), 1e-3)
	})
	mixture := oilOf("a", MassOf(435)).mixed(oilOf("b", MassOf(90)))
	mixture.setWater(MassOf(50))
	t.Run("of a mixture: each lot by its density, water by its own", func(t *testing.T) {
		require.InDelta(t, 500+100+50/0.9991, volume(mixture, 15), 0.01)
		require.InDelta(t, 500/0.9598784+50/0.9778, volume(mixture, 70)-volume(oilOf("b", MassOf(90)), 70), 0.01)
	})
	t.Run("and back", func(t *testing.T) {
		for _, tC := range []float64{-10, 20, 70} {
			require.InDelta(t, 575, b.s.massOfVolume(volume(mixture, tC), mixture, tC).Grams(), 1e-3)
		}
		require.InDelta(t, 870, b.s.massOfVolume(1000, Parcel{}, 15).Grams(), 1e-9, "of nothing: the assumed oil")
	})
}

// 22 °C to 67 °C with 20 min: 64.76 °C after an hour; from 67 °C back with 60 min: 49.29 °C
// after half an hour (physics checks T03-018, T03-019).
func TestOilTemperature(t *testing.T) {
	b := newTale(t, "pump pump=north charge_ml=700 ambient_c=22 hot_c=67", "weigh pump=north grams=600")
	at := func() float64 { return b.s.Pumps["north"].tempAt(b.now) }
	require.InDelta(t, 22, at(), 1e-9)
	b.tell("start pump=north").after(1)
	require.InDelta(t, 64.75958, at(), 1e-5)
	b.after(20).tell("stop pump=north")
	require.InDelta(t, 67, at(), 1e-3)
	b.after(0.5)
	require.InDelta(t, 49.29388, at(), 1e-3)
	b.tell("start pump=north").after(0).tell("stop pump=north hot_c=80").after(0.5)
	require.InDelta(t, 22+58*0.6065307, at(), 1e-3, "one reading sets it right")
	b.after(5000)
	require.InDelta(t, 22, at(), 1e-9)
	require.Equal(t, 65.0, newTale(t, "pump pump=north charge_ml=700").s.Pumps["north"].runningC(), "45 K over a room of 20 °C, until told")
}
