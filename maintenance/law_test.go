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
		n := len(told) + 1
		e := Entry{ID: fmt.Sprintf("e%d", n), Seq: uint64(n), At: at, Act: act, Note: "words"}
		if p := e.pump(); p != "" && rapid.Bool().Draw(t, "by signal") {
			e.ID = fmt.Sprintf("%s/%s/%d", p, act.Kind(), n)
		}
		before := fingerprint(t, s)
		if _, err := s.Apply(DefaultRules(), e); err != nil {
			require.Equal(t, before, fingerprint(t, s), "a refusal changed the state: %v", err)
			require.False(t, e.IsMachine(), "a signal was refused: %v", err)
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

// anyAct draws an act of any kind, as often as a kitchen would tell it.
func anyAct(t *rapid.T) Act {
	pump := rapid.SampledFrom([]string{"north", "south"}).Draw(t, "pump")
	jars := []string{"jar-1", "jar-2", "jar-3", "jar-4", "jar-5", "can-1"}
	from, to := rapid.SampledFrom(jars).Draw(t, "from"), rapid.SampledFrom(jars).Draw(t, "to")
	var amount Amount
	switch rapid.IntRange(0, 3).Draw(t, "told") {
	case 0, 1:
		amount.Grams = milli(t, "grams", 1, 900_000)
	case 2:
		amount.Ml, amount.TempC = milli(t, "ml", 1, 900_000), maybe(t, "temp", -20_000, 100_000)
	}
	switch rapid.IntRange(0, 23).Draw(t, "kind") {
	case 0, 1, 2:
		return &StartAct{Pump: pump, Ballast: rapid.SampledFrom([]string{"", "open", "shut"}).Draw(t, "ballast"),
			What: rapid.SampledFrom([]string{"", "", "blank"}).Draw(t, "what"), TrapC: maybe(t, "trap", -80_000, 0)}
	case 3, 4, 5:
		uncertain := rapid.Bool().Draw(t, "uncertain")
		return &StopAct{Pump: pump, HotC: maybe(t, "hot", 0, 150_000), TrapC: maybe(t, "trap", -80_000, 0), BallastMin: maybe(t, "ballast", 0, 600_000), Uncertain: &uncertain}
	case 6, 7:
		return &DrainAct{Pump: pump, To: to, Amount: amount}
	case 8:
		return &FillAct{Pump: pump, From: from, Amount: amount}
	case 9:
		return &PourAct{From: from, To: to, Amount: amount}
	case 10:
		return &DecantAct{From: from, To: to, Amount: amount}
	case 11:
		return &FilterAct{From: from, To: to, Amount: amount, KeptG: maybe(t, "kept", 0, 30_000), Minutes: maybe(t, "minutes", 1, 90_000)}
	case 12:
		return &SeparateAct{From: from, To: to, WaterG: milli(t, "ice", 0, 90_000), Amount: amount}
	case 13, 14:
		return anyWeighing(t, pump, from)
	case 15:
		return &DiscardAct{From: from, Amount: amount}
	case 16:
		return &FreezeAct{Vessel: from}
	case 17:
		return &LoadAct{Pump: pump, Grams: milli(t, "in", 1, 5_000_000), Weighed: rapid.SampledFrom([]string{"", "fresh"}).Draw(t, "weighed"), Class: rapid.SampledFrom([]string{"", "curd"}).Draw(t, "class")}
	case 18:
		return &YieldAct{Pump: pump, Grams: milli(t, "out", 0, 5_000_000)}
	case 19:
		return anyRevision(t, pump, from)
	case 20:
		return &LotAct{Lot: rapid.SampledFrom([]string{"lot-1", "lot-2"}).Draw(t, "lot"), Vessel: to, Amount: Amount{Grams: milli(t, "bought", 1, 2_000_000)}, Density15: maybe(t, "density", 800_000, 1_164_000)}
	}
	return anyRemark(t, pump, from)
}

func anyWeighing(t *rapid.T, pump, vessel string) Act {
	w := &WeighAct{Grams: milli(t, "weighed", 0, 900_000), WaterG: maybe(t, "water", 0, 60_000), RunHours: maybe(t, "hours", 0, 900_000), Lot: rapid.SampledFrom([]string{"", "lot-1", UnknownLot}).Draw(t, "lot")}
	if rapid.Bool().Draw(t, "sump") {
		w.Pump = pump
		return w
	}
	w.Vessel, w.Stage = vessel, rapid.SampledFrom(append(stages, NoStage)).Draw(t, "stage")
	return w
}

func anyRevision(t *rapid.T, pump, vessel string) Act {
	yes := rapid.IntRange(0, 3).Draw(t, "yes") == 0
	switch rapid.IntRange(0, 4).Draw(t, "revision") {
	case 0:
		return &MediumAct{Medium: "paper"}
	case 1:
		return &PumpAct{Pump: pump, Retired: &yes, ChargeMl: maybe(t, "charge", 100_000, 2_000_000), HeelMl: maybe(t, "heel", 0, 90_000)}
	case 2:
		return &PumpAct{Pump: pump, AmbientC: maybe(t, "ambient", -40_000, 60_000), HotC: maybe(t, "hot", 0, 150_000), SpeedM3H: maybe(t, "speed", 100, 1_000_000), TrapC: maybe(t, "trap", -120_000, 0), ChargeMl: num(700)}
	}
	return &VesselAct{Vessel: vessel, Retired: &yes, Waste: &yes, StoreC: maybe(t, "store", -40_000, 60_000), HeightMm: maybe(t, "height", 5_000, 900_000), TareG: maybe(t, "tare", 0, 900_000)}
}

func anyRemark(t *rapid.T, pump, vessel string) Act {
	switch rapid.IntRange(0, 6).Draw(t, "remark") {
	case 0:
		return &InspectAct{Vessel: vessel, Look: "hazy", Colour: num(2)}
	case 1:
		return &InspectAct{Pump: pump, AcidMgG: num(0.1)}
	case 2:
		return &VacuumAct{Pump: pump, Pa: milli(t, "pa", 1, 100_000)}
	case 3:
		return &CareAct{Task: "gasket", Pump: rapid.SampledFrom([]string{"", pump}).Draw(t, "of")}
	case 4:
		return &SnoozeAct{Action: "drain/north/e1", Until: day0.Add(time.Duration(rapid.IntRange(0, 4000).Draw(t, "until")) * time.Hour)}
	case 5:
		return &SkipAct{Action: "drain/north/e1"}
	}
	return &NoteAct{Pump: pump}
}

// milli draws a number with three decimals, given in thousandths.
func milli(t *rapid.T, name string, low, high int) *float64 {
	return num(float64(rapid.IntRange(low, high).Draw(t, name)) / 1000)
}

// maybe draws one half of the time.
func maybe(t *rapid.T, name string, low, high int) *float64 {
	if rapid.Bool().Draw(t, name+" is told") {
		return milli(t, name, low, high)
	}
	return nil
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
			requireCounted(t, p)
		}
		for _, v := range s.Vessels {
			requireSane(t, v.Content)
			require.LessOrEqual(t, v.Sunk, v.Content.Water)
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

// requireCounted holds a pump's counters against each other.
func requireCounted(t require.TestingT, p *Pump) {
	require.GreaterOrEqual(t, p.Cycles, len(p.History))
	sum := 0
	for _, n := range p.Classes {
		require.GreaterOrEqual(t, n, 0)
		sum += n
	}
	require.Equal(t, p.Cycles, sum)
	c := p.Charge
	require.Equal(t, p.Retired || c == nil && p.Sump.Empty() || c != nil, true)
	if c == nil {
		return
	}
	require.LessOrEqual(t, c.Cycles, p.Cycles)
	require.LessOrEqual(t, c.RunTime, p.RunTime)
	require.GreaterOrEqual(t, c.WaterRemoved, Mass(0))
	require.GreaterOrEqual(t, c.Expelled, Mass(0))
	if full := p.FullNow(DefaultRules()); full != nil {
		require.LessOrEqual(t, full.Cycles, p.Cycles)
		require.LessOrEqual(t, full.RunTime, p.RunTime)
	}
}

// What a machine signal says is never refused, however late the book hears of it, whatever
// a person has told by then; and the book balances after it.
func TestLawASignalIsNeverRefused(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		told := story(t, 40)
		last := told[len(told)-1].At
		for range rapid.IntRange(1, 6).Draw(t, "late") {
			n := len(told) + 1
			e := Entry{Seq: uint64(n), At: day0.Add(time.Duration(rapid.Int64Range(0, int64(last.Sub(day0))).Draw(t, "at")))}
			pump := rapid.SampledFrom([]string{"north", "south", "west"}).Draw(t, "of")
			e.Act = &StartAct{Pump: pump}
			if rapid.Bool().Draw(t, "stop") {
				e.Act = &StopAct{Pump: pump}
			}
			e.ID = fmt.Sprintf("%s/%s/%d", pump, e.Act.Kind(), n)
			told = append(told, e)
			_, err := Fold(DefaultRules(), told)
			require.NoError(t, err)
		}
	})
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
		require.Equal(t, string(b), fingerprint(t, s), "what goes on with a clone does not touch it")
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
