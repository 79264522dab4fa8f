package maintenance

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// shop is a book of two pumps and twenty jars after so many turns of the circuit each,
// with every jar at another point of it.
func shop(tb testing.TB, turns int) *State {
	s, r, at, n := NewState(), DefaultRules(), day0, 0
	tell := func(act Act) {
		n++
		_, err := s.Apply(r, Entry{ID: fmt.Sprintf("e%d", n), Seq: uint64(n), At: at, Act: act})
		require.NoError(tb, err)
	}
	tell(&MediumAct{Medium: "paper"})
	pumps := []string{"north", "south"}
	for i, p := range pumps {
		tell(&PumpAct{Pump: p, ChargeMl: num(700), HeelMl: num(20)})
		tell(&LotAct{Lot: "lot-1", Vessel: "can-" + p, Amount: Amount{Grams: num(20000)}})
		for j := range 10 {
			tell(&VesselAct{Vessel: fmt.Sprintf("jar-%d", 10*i+j+1), CapacityMl: num(1000)})
		}
	}
	for turn := range turns {
		for i, p := range pumps {
			jar := func(k int) string { return fmt.Sprintf("jar-%d", 10*i+(3*turn+k)%9+1) }
			for k := range 3 {
				if !s.Vessels[jar(k)].Content.Empty() {
					tell(&DiscardAct{From: jar(k)})
				}
			}
			tell(&FillAct{Pump: p, From: "can-" + p})
			tell(&StartAct{Pump: p})
			at = at.Add(26 * time.Hour)
			tell(&StopAct{Pump: p})
			tell(&DrainAct{Pump: p, To: jar(0)})
			at = at.Add(4 * 24 * time.Hour)
			tell(&DecantAct{From: jar(0), To: jar(1)})
			tell(&FilterAct{From: jar(1), To: jar(2)})
			tell(&PourAct{From: jar(2), To: "can-" + p})
			tell(&WeighAct{Vessel: "can-" + p, Grams: num(20000), Stage: New})
		}
	}
	for i, p := range pumps {
		tell(&FillAct{Pump: p, From: "can-" + p})
		tell(&StartAct{Pump: p})
		for j := range 9 {
			jar := fmt.Sprintf("jar-%d", 10*i+j+1)
			tell(&WeighAct{Vessel: jar, Grams: num(500), WaterG: num(8)})
			switch j % 4 {
			case 1:
				tell(&WeighAct{Vessel: jar, Grams: num(500), Stage: Decanted})
			case 2:
				tell(&WeighAct{Vessel: jar, Grams: num(500), Stage: Residue})
			case 3:
				tell(&FreezeAct{Vessel: jar})
			}
		}
	}
	at = at.Add(26 * time.Hour)
	for _, p := range pumps {
		tell(&StopAct{Pump: p})
	}
	return s
}

func BenchmarkNext(b *testing.B) {
	for _, turns := range []int{10, 1000} {
		s := shop(b, turns)
		r := DefaultRules()
		r.Care = []CareTask{{Task: "chamber", Cycles: 1}, {Task: "exhaust-filter", RunHours: 500}}
		b.Run(fmt.Sprintf("turns=%d", turns), func(b *testing.B) {
			now := s.At.Add(20 * time.Minute)
			b.ReportAllocs()
			for b.Loop() {
				require.NotEmpty(b, Next(s, r, now))
			}
		})
	}
}
