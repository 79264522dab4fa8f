package maintenance

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// fleet is a grown book: two pumps with a full memory, thirty vessels.
func fleet(tb testing.TB) *State {
	s := NewState()
	seq := uint64(0)
	at := day0
	tell := func(act Act) {
		seq++
		_, err := s.Apply(DefaultRules(), Entry{ID: fmt.Sprintf("e%d", seq), Seq: seq, At: at, Act: act})
		require.NoError(tb, err)
	}
	for i := range 15 {
		tell(&LotAct{Lot: fmt.Sprintf("lot-%d", i%4), Vessel: fmt.Sprintf("can-%d", i), Amount: Amount{Grams: num(2000)}})
		tell(&VesselAct{Vessel: fmt.Sprintf("jar-%d", i), CapacityMl: num(5000)})
	}
	for i, pump := range []string{"north", "south"} {
		tell(&PumpAct{Pump: pump, ChargeMl: num(700)})
		tell(&FillAct{Pump: pump, From: fmt.Sprintf("can-%d", i)})
		for range maxHistory {
			tell(&StartAct{Pump: pump})
			at = at.Add(time.Hour)
			tell(&StopAct{Pump: pump})
		}
		tell(&DrainAct{Pump: pump, To: "jar-0"})
		tell(&FillAct{Pump: pump, From: fmt.Sprintf("can-%d", i+5)})
	}
	return s
}

func BenchmarkClone(b *testing.B) {
	s := fleet(b)
	for b.Loop() {
		s.Clone()
	}
}

func BenchmarkApply(b *testing.B) {
	start := func(s *State) { s.Pumps["north"].Run = &Run{Since: s.At, Accrued: s.At, Cycle: "c", StartC: 20} }
	for _, c := range []struct {
		name  string
		ready func(*State)
		act   Act
	}{
		{"stop", start, &StopAct{Pump: "north"}},
		{"stop after open ballast", start, &StopAct{Pump: "north", BallastMin: num(60)}},
		{"start", nil, &StartAct{Pump: "north"}},
		{"drain", nil, &DrainAct{Pump: "north", To: "jar-1"}},
		{"decant", nil, &DecantAct{From: "jar-0", To: "jar-1"}},
		{"filter", nil, &FilterAct{From: "jar-0", To: "jar-1"}},
		{"fill", nil, &FillAct{Pump: "north", From: "can-7", Amount: Amount{Grams: num(20)}}},
		{"weigh", nil, &WeighAct{Vessel: "can-7", Grams: num(1900)}},
		{"pour", nil, &PourAct{From: "can-7", To: "jar-1"}},
		{"load", nil, &LoadAct{Pump: "north", Grams: num(2000)}},
		{"yield", nil, &YieldAct{Pump: "north", Grams: num(200)}},
		{"care", nil, &CareAct{Task: "gasket"}},
	} {
		b.Run(c.name, func(b *testing.B) {
			s := fleet(b)
			if c.ready != nil {
				c.ready(s)
			}
			e := Entry{ID: "e", Seq: s.Seq + 1, At: s.At.Add(20 * time.Hour), Act: c.act}
			for b.Loop() {
				b.StopTimer()
				t := s.Clone()
				b.StartTimer()
				if _, err := t.Apply(DefaultRules(), e); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
