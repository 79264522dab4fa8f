package maintenance

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestDeclaring(t *testing.T) {
	t.Run("a new pump is empty and open, and needs its charge", func(t *testing.T) {
		b := newTale(t)
		require.Equal(t, "charge_ml", b.refused("pump pump=north speed_m3_h=7").Field)
		b.tell("pump pump=north charge_ml=700")
		p := b.pump("north")
		require.True(t, p.Open)
		require.Nil(t, p.Charge)
		require.Nil(t, p.LastDrain)
	})
	t.Run("a revision changes what it tells, from then on", func(t *testing.T) {
		b := kitchen(t).tell("start pump=north").after(24).tell("stop pump=north")
		before := b.pump("north").Charge
		b.tell("pump pump=north charge_ml=300 trap_c=-60 speed_m3_h=20 ambient_c=30 hot_c=80 heel_ml=5 ballast_l_min=10 cool_tau_min=90")
		require.Equal(t, before, b.pump("north").Charge, "what is booked is never judged again")
		p := b.s.Pumps["north"]
		require.Equal(t, []float64{300, 5, 20, 10, 80, 30, -60, 90}, []float64{p.ChargeMl, *p.HeelMl, *p.SpeedM3H, *p.BallastLMin, *p.HotC, *p.AmbientC, *p.TrapC, *p.CoolTauMin})
		b.tell("pump pump=north trap_c=-30")
		require.Equal(t, 20.0, *b.s.Pumps["north"].SpeedM3H)
	})
	t.Run("its own limits come before the configuration's", func(t *testing.T) {
		b := kitchen(t)
		e := b.entry("pump pump=north")
		e.Act.(*PumpAct).Limits = &Limits{AirH: num(5)}
		_, err := b.s.Apply(b.rules, e)
		require.NoError(t, err)
		e.Act = &PumpAct{Pump: "north", Limits: &Limits{DrainCycles: num(3)}}
		_, err = b.s.Apply(b.rules, e)
		require.NoError(t, err)
		l := b.s.Pumps["north"].limits(b.rules)
		require.Equal(t, []float64{5, 3, 0.95}, []float64{*l.AirH, *l.DrainCycles, *l.FullFraction})
	})
	t.Run("a vessel keeps what it was told, and is there since then", func(t *testing.T) {
		b := newTale(t).after(2).tell("vessel vessel=jar-1 capacity_ml=1000 height_mm=150 tare_g=400 store_c=12", "vessel vessel=jar-1 tare_g=410")
		v := b.s.Vessels["jar-1"]
		require.Equal(t, []float64{1000, 150, 410, 12}, []float64{*v.CapacityMl, *v.HeightMm, *v.TareG, *v.StoreC})
		require.Equal(t, b.now, b.vessel("jar-1").Since)
	})
}

func TestRetiring(t *testing.T) {
	t.Run("a pump must be drained and at rest; its heel leaves with it", func(t *testing.T) {
		b := kitchen(t)
		require.Contains(t, b.refused("pump pump=north retired=true").Says, "still holds")
		b.ran(10).tell("start pump=north")
		require.Contains(t, b.refused("pump pump=north retired=true").Says, "is running")
		b.after(1).tell("stop pump=north", "drain pump=north to=jar-1", "care task=gasket", "care task=seal pump=north")
		heel := b.pump("north").Charge.Grams
		b.tell("pump pump=north retired=true")
		require.Empty(t, b.view().Pumps)
		require.InDelta(t, heel, b.ledger().DiscardedG, 1e-9)
		require.Equal(t, "pump", b.refused("start pump=north").Field)
		require.Equal(t, "pump", b.refused("pump pump=north retired=true").Field)
		require.Equal(t, "charge_ml", b.refused("pump pump=north speed_m3_h=7").Field)
		b.tell("pump pump=north charge_ml=500")
		p := b.pump("north")
		require.Zero(t, p.RunHours)
		require.Zero(t, p.Cycles)
		require.Nil(t, p.Full)
		require.Nil(t, p.LastDrain)
		require.NotContains(t, b.s.Care["gasket"].Pumps, "north", "upkeep of the old pump says nothing of the new")
		require.NotContains(t, b.s.Care, "seal@north")
	})
	t.Run("a vessel must be empty; its name returns as a new thing", func(t *testing.T) {
		b := kitchen(t).tell("vessel vessel=can-1 tare_g=300")
		require.Contains(t, b.refused("vessel vessel=can-1 retired=true").Says, "still holds")
		b.tell("discard from=can-1", "vessel vessel=can-1 retired=true")
		require.Equal(t, "to", b.refused("pour from=jar-1 to=can-1").Field)
		require.Equal(t, "vessel", b.refused("vessel vessel=can-1 retired=true").Field)
		b.after(1).tell("vessel vessel=can-1", "weigh vessel=can-1 grams=50")
		require.Nil(t, b.s.Vessels["can-1"].TareG)
		require.InDelta(t, 50, b.ledger().OpeningG, 1e-9, "it never held anything")
	})
	t.Run("a lot may come in a vessel of a retired one's name", func(t *testing.T) {
		b := kitchen(t).tell("vessel vessel=jar-1 retired=true", "lot lot=lot-2 vessel=jar-1 grams=10")
		require.Equal(t, New, b.stage("jar-1"))
		require.Nil(t, b.s.Vessels["jar-1"].CapacityMl)
	})
	t.Run("what was never declared cannot retire", func(t *testing.T) {
		b := newTale(t)
		require.Equal(t, "pump", b.refused("pump pump=north retired=true charge_ml=500").Field)
		require.Equal(t, "vessel", b.refused("vessel vessel=jar-1 retired=true").Field)
	})
	t.Run("taking retirement back is a plain revision", func(t *testing.T) {
		b := kitchen(t).tell("pump pump=north retired=false hot_c=70", "vessel vessel=jar-1 retired=false")
		require.Equal(t, 70.0, *b.s.Pumps["north"].HotC)
	})
}

func TestLot(t *testing.T) {
	t.Run("is new oil received, fresh to the gram, into a vessel it declares", func(t *testing.T) {
		b := newTale(t).after(1).tell("lot lot=lot-1 vessel=can-1 ml=1000 temp_c=15 density_15=880 grade=VG100 price=30 currency=EUR")
		v := b.vessel("can-1")
		require.InDelta(t, 880, v.Lots["lot-1"], 1e-9)
		require.Equal(t, New, *v.Stage)
		require.Equal(t, b.now, v.Since)
		require.InDelta(t, 880, b.ledger().ReceivedG, 1e-9)
		require.Equal(t, MassOf(880), b.s.Vessels["can-1"].Content.Fresh)
		l := b.s.Lots["lot-1"]
		require.Equal(t, Lot{Name: "lot-1", Grade: "VG100", Density15: 880, Price: 30, Currency: "EUR", Bought: MassOf(880), At: b.now,
			Told: Telling{"density_15": {"e1", b.now}, "grade": {"e1", b.now}}}, *l)
	})
	t.Run("more of it adds up", func(t *testing.T) {
		b := kitchen(t).tell("lot lot=lot-1 vessel=can-1 grams=500")
		require.Equal(t, MassOf(4500), b.s.Lots["lot-1"].Bought)
		require.Equal(t, []string{"lot-1"}, b.s.LotOrder)
	})
	t.Run("a refused one leaves nothing behind", func(t *testing.T) {
		b := kitchen(t)
		require.Equal(t, "vessel", b.refused("lot lot=lot-2 vessel=jar-1 grams=900").Field)
		require.Equal(t, "vessel", b.refused("lot lot=lot-1 vessel=jar-1 grams=900 density_15=900").Field)
	})
	t.Run("unknown is no purchase", func(t *testing.T) {
		require.Equal(t, "lot", kitchen(t).refused("lot lot=unknown vessel=can-2 grams=5").Field)
	})
	t.Run("a grade that is none is reckoned as VG 68", func(t *testing.T) {
		b := newTale(t, "lot lot=lot-1 vessel=can-1 grams=500 grade=thin")
		require.Contains(t, b.remarks, "reckoned as VG 68")
		require.Equal(t, 68.0, b.s.oil(b.s.Vessels["can-1"].Content).V40)
	})
	t.Run("new oil onto other oil is as far along as that", func(t *testing.T) {
		b := newTale(t, "vessel vessel=jar-1", "weigh vessel=jar-1 grams=10", "lot lot=lot-1 vessel=jar-1 grams=500")
		require.Equal(t, Drained, b.stage("jar-1"))
		require.Equal(t, MassOf(500), b.s.Vessels["jar-1"].Content.Fresh)
	})
	t.Run("a density told later moves no gram", func(t *testing.T) {
		b := kitchen(t)
		before := b.pump("north").Charge.Grams
		b.tell("lot lot=lot-1 vessel=can-1 grams=1 density_15=900")
		require.Equal(t, before, b.pump("north").Charge.Grams)
	})
}

func TestLooking(t *testing.T) {
	t.Run("at a jar, until something is poured in", func(t *testing.T) {
		b := kitchen(t).ran(10).tell("drain pump=north to=jar-1", "inspect vessel=jar-1 colour=3 look=hazy", "id=i2 inspect vessel=jar-1 acid_mg_g=0.2 particles=19/16/13 water_ppm=900")
		l := b.s.Vessels["jar-1"].Look
		require.Equal(t, "hazy", l.Look, "a later look keeps what it does not tell")
		require.Equal(t, []float64{3, 0.2, 900}, []float64{*l.Colour, *l.AcidMgG, *l.WaterPpm})
		require.Equal(t, "i2", l.Entry)
		b.tell("pour from=can-1 to=jar-1 grams=10")
		require.Nil(t, b.s.Vessels["jar-1"].Look)
	})
	t.Run("at a sump, until the change", func(t *testing.T) {
		b := kitchen(t).tell("inspect pump=north look=clear", "inspect pump=north look=dark")
		require.Equal(t, "dark", b.s.Pumps["north"].Look.Look)
		b.tell("drain pump=north to=jar-1", "fill pump=north from=can-1")
		require.Nil(t, b.s.Pumps["north"].Look)
	})
	t.Run("at new oil teaches how the lot looks", func(t *testing.T) {
		b := kitchen(t).tell("inspect vessel=can-1 colour=1 acid_mg_g=0.05", "inspect vessel=can-1 look=clear")
		require.Equal(t, []float64{1, 0.05}, []float64{*b.s.Lots["lot-1"].Colour, *b.s.Lots["lot-1"].AcidMgG})
		b.tell("weigh vessel=jar-1 grams=5 stage=new", "inspect vessel=jar-1 colour=2")
		require.Equal(t, 1.0, *b.s.Lots["lot-1"].Colour, "oil of no known lot teaches nothing")
	})
	t.Run("of unknown things is refused", func(t *testing.T) {
		b := kitchen(t)
		require.Equal(t, "pump", b.refused("inspect pump=west look=clear").Field)
		require.Equal(t, "vessel", b.refused("inspect vessel=jar-9 look=clear").Field)
	})
}

func TestPressureReadings(t *testing.T) {
	b := kitchen(t).tell("id=v1 vacuum pump=north pa=2").ran(10).tell("vacuum pump=north pa=3", "vacuum pump=north pa=50 what=cycle")
	p := b.s.Pumps["north"]
	require.Len(t, p.BlankOffs, 2, "a reading during a cycle is no blank-off")
	require.Equal(t, "v1", p.BlankNew.Entry, "the first on new oil is the pump's own")
	require.Equal(t, "fill-1", p.BlankNew.Charge)
	b.tell("drain pump=north to=jar-1", "vacuum pump=north pa=4", "filter from=jar-1 to=jar-2", "fill pump=north from=jar-2", "vacuum pump=north pa=5")
	require.Equal(t, "v1", b.s.Pumps["north"].BlankNew.Entry, "reclaimed oil is not new")
	b.tell("drain pump=north to=jar-1").after(1).tell("fill pump=north from=can-1").after(1).tell("id=v2 vacuum pump=north pa=2.5", "vacuum pump=north pa=2.6")
	require.Equal(t, "v2", b.s.Pumps["north"].BlankNew.Entry)
	require.Equal(t, "pump", b.refused("vacuum pump=west pa=5").Field)
	for range maxReadings {
		b.tell("vacuum pump=north pa=3")
	}
	require.Len(t, b.s.Pumps["north"].BlankOffs, maxReadings)
	require.Equal(t, "v1", b.s.Pumps["north"].BlankOffs[0].Entry, "the start of the chart stays")
	b = newTale(t, "pump pump=north charge_ml=700", "vacuum pump=north pa=2")
	require.Nil(t, b.s.Pumps["north"].BlankNew, "without oil")
}

func TestUpkeep(t *testing.T) {
	b := kitchen(t).tell("pump pump=south charge_ml=500", "load pump=north grams=100 class=fish").ran(10).tell("start pump=north").after(2).tell("id=k care task=gasket")
	done := b.s.Care["gasket"]
	require.Equal(t, "k", done.Entry)
	require.Equal(t, CareMark{Cycles: 1, RunTime: 12 * time.Hour, Classes: map[string]int{"fish": 1}}, done.Pumps["north"])
	require.Contains(t, done.Pumps, "south")
	b.tell("care task=seal pump=north")
	require.Len(t, b.s.Care["seal@north"].Pumps, 1)
	require.Equal(t, "pump", b.refused("care task=seal pump=west").Field)
}

func TestSettingAside(t *testing.T) {
	b := kitchen(t)
	until := b.now.Add(3 * time.Hour)
	b.tell("id=z snooze action=drain/north/c1 until=" + until.Format(time.RFC3339))
	require.Equal(t, Aside{Action: "drain/north/c1", Entry: "z", Until: until}, b.s.Aside["drain/north"])
	b.tell("id=k skip action=drain/north/north/start/2026 note=no")
	require.Equal(t, Aside{Action: "drain/north/north/start/2026", Entry: "k", Skip: true}, b.s.Aside["drain/north"])
	require.Equal(t, "until", b.refused("snooze action=drain/north/c1 until="+b.now.Format(time.RFC3339)).Field)
	for _, action := range []string{"drain", "drain/north", "paint/north/c1", "drain//c1"} {
		require.Equal(t, "action", b.refused("skip note=no action="+action).Field)
	}
}

func TestNotes(t *testing.T) {
	b := kitchen(t).tell("note note=words", "note vessel=jar-1 note=words", "note pump=north note=words")
	require.Equal(t, b.now, b.s.Pumps["north"].Noted)
	require.Equal(t, "vessel", b.refused("note vessel=jar-9 note=words").Field)
	require.Equal(t, "pump", b.refused("note pump=west note=words").Field)
}

func TestTheOrderOfHappening(t *testing.T) {
	t.Run("a late entry takes its place", func(t *testing.T) {
		b := kitchen(t).after(10).ran(20)
		s, err := b.late("fill pump=north from=can-1 grams=50 at=5")
		require.NoError(t, err)
		require.InDelta(t, 700*0.8668576+50, s.Pumps["north"].Sump.OilMass().Grams(), 0.01)
	})
	t.Run("a late one that makes a later one impossible is refused with the later one's name", func(t *testing.T) {
		b := kitchen(t).after(10).tell("pour from=can-1 to=jar-1 grams=700").after(1).tell("id=p2 pour from=jar-1 to=jar-2 grams=700")
		_, err := b.late("discard from=jar-1 grams=500 at=10.5")
		var r *Rejection
		require.ErrorAs(t, err, &r)
		require.Equal(t, "p2", r.Entry)
	})
	t.Run("of one instant the telling decides", func(t *testing.T) {
		b := newTale(t, "vessel vessel=jar-1", "vessel vessel=jar-2", "weigh vessel=jar-1 grams=100", "pour from=jar-1 to=jar-2", "pour from=jar-2 to=jar-1 grams=40")
		s, err := b.late()
		require.NoError(t, err)
		require.Equal(t, fingerprint(t, b.s), fingerprint(t, s))
	})
	t.Run("a void withdraws, whatever its own time, and a void of a void does not", func(t *testing.T) {
		b := kitchen(t).after(1).tell("id=d discard from=can-1 grams=100")
		s, err := b.late("id=v void entry=d at=0")
		require.NoError(t, err)
		require.Zero(t, s.Ledger.Discarded)
		s, err = b.late("id=v void entry=d", "void entry=v")
		require.NoError(t, err)
		require.Zero(t, s.Ledger.Discarded)
		b.tell("void entry=d")
		require.Equal(t, MassOf(100), b.s.Ledger.Discarded, "alone it moves nothing: the fold leaves out what it names")
	})
	t.Run("an entry of no kind is refused", func(t *testing.T) {
		_, err := NewState().Apply(DefaultRules(), Entry{ID: "x", At: day0})
		var r *Rejection
		require.ErrorAs(t, err, &r)
		require.Equal(t, "x", r.Entry)
	})
}

func TestARejectionSaysWhere(t *testing.T) {
	r := reject("grams", "weigh it", "jar-1 holds %d g", 5)
	require.Equal(t, "grams: jar-1 holds 5 g", r.Error())
	r.Line = 3
	require.Equal(t, "line 3: grams: jar-1 holds 5 g", r.Error())
	require.Equal(t, "nothing", reject("", "", "nothing").Error())
	require.Contains(t, kitchen(t).refused("start pump=west").Hint, "known are north")
	require.True(t, strings.HasPrefix(newTale(t).refused("start pump=west").Hint, "declare it first"))
}
