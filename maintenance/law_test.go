package maintenance

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var day0 = time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)

// story draws a book of two pumps, five vessels and a medium: the acts that the book takes,
// in order, a random while apart.
func story(t *rapid.T, length int) []Entry {
	s := NewState()
	var told []Entry
	at := day0
	tell := func(act Act) {
		e := Entry{ID: fmt.Sprintf("e%d", len(told)+1), Seq: uint64(len(told) + 1), At: at, Act: act}
		before := fingerprint(t, s)
		if _, err := s.Apply(DefaultRules(), e); err != nil {
			require.Equal(t, before, fingerprint(t, s), "a refusal changed the state: %v", err)
			return
		}
		told = append(told, e)
	}
	for _, name := range []string{"north", "south"} {
		tell(&PumpAct{Pump: name, ChargeMl: num(700), HeelMl: num(20)})
	}
	for i := range 5 {
		tell(&VesselAct{Vessel: fmt.Sprintf("jar-%d", i+1), CapacityMl: num(1500)})
	}
	tell(&MediumAct{Medium: "paper"})
	tell(&LotAct{Lot: "lot-1", Vessel: "can-1", Amount: Amount{Grams: num(4000)}})
	for range length {
		at = at.Add(time.Duration(rapid.IntRange(1, 40*3600).Draw(t, "s")) * time.Second)
		tell(anyAct(t))
	}
	return told
}

func anyAct(t *rapid.T) Act {
	pump := rapid.SampledFrom([]string{"north", "south"}).Draw(t, "pump")
	jars := []string{"jar-1", "jar-2", "jar-3", "jar-4", "jar-5", "can-1"}
	from, to := rapid.SampledFrom(jars).Draw(t, "from"), rapid.SampledFrom(jars).Draw(t, "to")
	var amount Amount
	if rapid.Bool().Draw(t, "told") {
		amount.Grams = num(float64(rapid.IntRange(1, 900_000).Draw(t, "mg")) / 1000)
	}
	water := num(float64(rapid.IntRange(0, 30_000).Draw(t, "water")) / 1000)
	grams := num(float64(rapid.IntRange(1, 900_000).Draw(t, "weighed")) / 1000)
	switch rapid.IntRange(0, 13).Draw(t, "kind") {
	case 0, 1:
		return &StartAct{Pump: pump, Ballast: rapid.SampledFrom([]string{"", "open"}).Draw(t, "ballast")}
	case 2, 3:
		return &StopAct{Pump: pump}
	case 4, 5:
		return &DrainAct{Pump: pump, To: to, Amount: amount}
	case 6:
		return &FillAct{Pump: pump, From: from, Amount: amount}
	case 7:
		return &PourAct{From: from, To: to, Amount: amount}
	case 8:
		return &DecantAct{From: from, To: to, Amount: amount}
	case 9:
		return &FilterAct{From: from, To: to, Amount: amount, KeptG: water}
	case 10:
		return &SeparateAct{From: from, To: to, WaterG: water, Amount: amount}
	case 11:
		return &WeighAct{Vessel: from, Grams: grams, WaterG: water}
	case 12:
		return &WeighAct{Pump: pump, Grams: grams}
	}
	return &DiscardAct{From: from, Amount: amount}
}

func fingerprint(t require.TestingT, s *State) string {
	b, err := EncodeState(s)
	require.NoError(t, err)
	return string(b)
}

// Apply panics when the book does not balance, so a story that ends has balanced after
// every entry; here the sum is taken once more from the view that people see.
func TestLawOilAndWaterAreConserved(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		told := story(t, 60)
		s, err := Fold(DefaultRules(), told)
		require.NoError(t, err)
		l := s.View(DefaultRules(), s.At, s.Seq, "").Ledger
		in := l.OpeningG + l.ReceivedG + l.FoundG + l.CarryOverG
		out := l.InPumpsG + l.InVesselsG + l.InMediaG + l.DiscardedG + l.LostG + l.ExpelledG + l.WaterTakenG
		require.InDelta(t, in, out, 1e-6)
		for _, p := range s.Pumps {
			requireSane(t, p.Sump)
		}
		for _, v := range s.Vessels {
			requireSane(t, v.Content)
			require.Equal(t, v.Content.Empty(), v.Stage == NoStage, "%s %s", v.Name, v.Stage)
			share := s.settled(v, s.At.Add(24*time.Hour))
			require.GreaterOrEqual(t, share, s.settled(v, s.At)-1e-9, "settling goes one way")
			require.LessOrEqual(t, share, 1.0)
		}
	})
}

func requireSane(t require.TestingT, p Parcel) {
	require.GreaterOrEqual(t, p.Water, p.WaterLow)
	require.LessOrEqual(t, p.Water, p.WaterHigh)
	require.GreaterOrEqual(t, p.WaterLow, Mass(0))
	require.GreaterOrEqual(t, p.Fresh, Mass(0))
	require.LessOrEqual(t, p.Fresh, p.OilMass())
	require.LessOrEqual(t, p.AgeUnsure, p.OilMass())
	require.GreaterOrEqual(t, p.RunGH, -1e-6)
	for _, l := range p.Oil {
		require.Positive(t, l.Mass)
	}
}

func TestLawTheOrderOfTellingDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		told := story(t, 40)
		want, err := Fold(DefaultRules(), told)
		require.NoError(t, err)
		shuffled := append([]Entry(nil), told...)
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		rng.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		got, err := Fold(DefaultRules(), shuffled)
		require.NoError(t, err)
		require.Equal(t, fingerprint(t, want), fingerprint(t, got))
	})
}

func TestLawAVoidedEntryEqualsItsAbsence(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		told := story(t, 30)
		i := rapid.IntRange(0, len(told)-1).Draw(t, "i")
		void := Entry{ID: "void", Seq: uint64(len(told) + 1), At: told[len(told)-1].At, Act: &VoidAct{Entry: told[i].ID}}
		got, err1 := Fold(DefaultRules(), append(append([]Entry(nil), told...), void))
		want, err2 := Fold(DefaultRules(), append(append([]Entry(nil), told[:i]...), told[i+1:]...))
		require.Equal(t, err1 == nil, err2 == nil)
		if err1 == nil {
			want.Seq, want.At = got.Seq, got.At
			require.Equal(t, fingerprint(t, want), fingerprint(t, got))
		}
	})
}

// A checkpoint is a state written down and read back; going on from it is going on.
func TestLawACheckpointChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		told := story(t, 30)
		cut := rapid.IntRange(0, len(told)).Draw(t, "cut")
		s, err := Fold(DefaultRules(), told[:cut])
		require.NoError(t, err)
		b, err := EncodeState(s)
		require.NoError(t, err)
		back, err := DecodeState(b)
		require.NoError(t, err)
		whole := s.Clone()
		for _, e := range told[cut:] {
			_, err1 := back.Apply(DefaultRules(), e)
			_, err2 := whole.Apply(DefaultRules(), e)
			require.NoError(t, err1)
			require.NoError(t, err2)
		}
		require.Equal(t, fingerprint(t, whole), fingerprint(t, back))
	})
}

func TestLawAnEntrySurvivesItsJSON(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		for _, e := range story(t, 10) {
			back, err := Decode(Encode(e))
			require.NoError(t, err)
			require.Equal(t, Content(e), Content(back))
		}
	})
}
