package main

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	m "sumpbook/maintenance"
)

// demoEntries is an invented season: two months of a small kitchen that dries broth,
// mushrooms and curd on two pumps, told as its people would have told it. It ends at now
// with a cycle of north stopped twelve minutes ago at 66 °C. Every name and number is made up.
func demoEntries(now time.Time) []m.Entry {
	k := &kitchen{state: m.NewState()}
	last := now.Add(-12 * time.Minute).Truncate(time.Minute)
	first := last.Add(-time.Duration(northCycles-1) * 72 * time.Hour)
	k.at(first.Add(-40*time.Hour), k.open)
	for i := range northCycles {
		stop := last.Add(-time.Duration(northCycles-1-i) * 72 * time.Hour)
		k.cycle("north", i, stop, i == northCycles-1)
	}
	for i := range southCycles {
		k.cycle("south", i, first.Add(time.Duration(100+i*216)*time.Hour+37*time.Minute), false)
	}
	k.at(first.Add(33*24*time.Hour), func() {
		k.tell(&m.LotAct{Lot: "oil-2", Vessel: "can-3", Amount: volume(4000), Grade: "VG 68", Price: of(44), Currency: "EUR"})
	})
	return k.live()
}

const (
	jars        = 5 // for drained oil; two more for what they leave
	northCycles = 20
	southCycles = 6
	renewed     = 12 // cycle of north after which its oil is replaced
)

// A kitchen tells its season entry by entry and looks at its own book to know what to do.
type kitchen struct {
	state   *m.State
	entries []m.Entry
	plans   []plan
	now     time.Time
}

// A plan is what the kitchen does at a time.
type plan struct {
	at time.Time
	do func()
}

func (k *kitchen) at(t time.Time, do func()) { k.plans = append(k.plans, plan{t, do}) }

// live goes through the plans in order of time.
func (k *kitchen) live() []m.Entry {
	slices.SortStableFunc(k.plans, func(a, b plan) int { return a.at.Compare(b.at) })
	for _, p := range k.plans {
		k.now = p.at
		p.do()
	}
	return k.entries
}

// tell records an act a minute or more after the one before.
func (k *kitchen) tell(act m.Act, note ...string) {
	at := k.now
	if n := len(k.entries); n > 0 && !at.After(k.entries[n-1].At) {
		at = k.entries[n-1].At.Add(time.Minute)
	}
	e := m.Entry{ID: fmt.Sprintf("season-%03d", len(k.entries)+1), At: at, Act: act, By: "the kitchen"}
	if len(note) > 0 {
		e.Note = note[0]
	}
	sealed := e
	sealed.Seq = uint64(len(k.entries) + 1)
	if _, err := k.state.Apply(m.DefaultRules(), sealed); err != nil {
		panic(fmt.Sprintf("sumpbook: the invented season does not hold at %s: %v", e.ID, err))
	}
	k.entries = append(k.entries, e)
}

func of(v float64) *float64 { return &v }

func volume(ml float64) m.Amount { return m.Amount{Ml: of(ml)} }

func weight(g float64) m.Amount { return m.Amount{Grams: of(math.Round(g))} }

// open sets the kitchen up.
func (k *kitchen) open() {
	k.tell(&m.NoteAct{}, "Everything in this book is invented, to show what sumpbook does: no kitchen, pump or oil of this kind exists.")
	k.tell(&m.PumpAct{Pump: "north", Name: "big pump", ChargeMl: of(700), HeelMl: of(20), SpeedM3H: of(7), HotC: of(66), AmbientC: of(19), TrapC: of(-51)})
	k.tell(&m.PumpAct{Pump: "south", Name: "small pump", ChargeMl: of(350), SpeedM3H: of(4), TrapC: of(-50)})
	for i := range jars {
		k.tell(&m.VesselAct{Vessel: fmt.Sprintf("jar-%d", i+1), CapacityMl: of(1000), HeightMm: of(150), TareG: of(460), StoreC: of(17)})
	}
	k.tell(&m.VesselAct{Vessel: "jar-6", Name: "leavings", CapacityMl: of(1500), HeightMm: of(160), StoreC: of(17)})
	k.tell(&m.VesselAct{Vessel: "jar-7", Name: "thawed", CapacityMl: of(1500), HeightMm: of(160), StoreC: of(17)})
	k.tell(&m.VesselAct{Vessel: "pitcher-1", CapacityMl: of(2000)})
	k.tell(&m.VesselAct{Vessel: "can-2", Name: "filtered oil", CapacityMl: of(5000)})
	k.tell(&m.VesselAct{Vessel: "waste-1", CapacityMl: of(5000), Waste: yes()})
	k.tell(&m.MediumAct{Medium: "paper"})
	k.tell(&m.LotAct{Lot: "oil-1", Vessel: "can-1", Amount: volume(5000), Grade: "VG 68", Price: of(42), Currency: "EUR"})
	k.tell(&m.InspectAct{Vessel: "can-1", Colour: of(1), Look: "clear"})
	k.tell(&m.FillAct{Pump: "north", From: "can-1"})
	k.tell(&m.FillAct{Pump: "south", From: "can-1"})
}

func yes() *bool {
	v := true
	return &v
}

// foods are what is dried, with the share of the weight that is left.
var foods = []struct {
	class string
	grams float64
	left  float64
}{{"broth", 5400, 0.08}, {"mushrooms", 3900, 0.10}, {"curd", 4700, 0.27}}

// cycle plans one cycle and what is done until the next. The latest one has only stopped.
func (k *kitchen) cycle(pump string, i int, stop time.Time, latest bool) {
	food := foods[i%len(foods)]
	hours := 27 + float64(i*5%7)
	load := food.grams * (1 + 0.02*float64(i%4))
	if pump == "south" {
		load, hours = load*0.45, hours-5
	}
	start := stop.Add(-time.Duration(hours * float64(time.Hour)))
	k.at(start.Add(-20*time.Minute), func() { k.tell(&m.LoadAct{Pump: pump, Grams: of(math.Round(load)), Class: food.class}) })
	k.at(start, func() { k.tell(&m.StartAct{Pump: pump}) })
	k.at(start.Add(25*time.Minute), func() { k.tell(&m.VacuumAct{Pump: pump, Pa: of(k.blankOff(pump))}) })
	k.at(stop, func() { k.tell(&m.StopAct{Pump: pump, HotC: of(66 - float64(i%3)*float64(b2i(!latest)))}) })
	if latest {
		return
	}
	k.at(stop.Add(15*time.Minute), func() { k.tell(&m.YieldAct{Pump: pump, Grams: of(math.Round(load * food.left))}) })
	k.at(stop.Add(22*time.Minute), func() { k.drain(pump, pump == "north" && i == renewed) })
	k.at(stop.Add(9*time.Hour), func() { k.fill(pump, pump == "north" && i == renewed) })
	k.at(stop.Add(8*time.Hour), k.chores)
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// blankOff rises a little with the hours of the oil.
func (k *kitchen) blankOff(pump string) float64 {
	return math.Round(10*(1.6+k.state.Pumps[pump].Sump.OilHours()/150)) / 10
}

// drain lets the oil into the first empty jar, or into the waste if it is to be replaced.
func (k *kitchen) drain(pump string, away bool) {
	to := "waste-1"
	for i := jars; i >= 1 && !away; i-- {
		if jar := fmt.Sprintf("jar-%d", i); k.holds(jar) == 0 {
			to = jar
		}
	}
	sump := k.state.Pumps[pump].Sump.Total().Grams()
	k.tell(&m.DrainAct{Pump: pump, To: to, Amount: weight(sump - 19)})
}

func (k *kitchen) holds(vessel string) float64 {
	if v := k.state.Vessels[vessel]; v != nil {
		return v.Content.Total().Grams()
	}
	return 0
}

// fill takes filtered oil if there is enough of it, new oil for a replacement.
func (k *kitchen) fill(pump string, replace bool) {
	want := k.state.Pumps[pump].ChargeMl * 0.9
	cans := []string{"can-2", "can-1", "can-3"}
	if replace {
		cans = []string{"can-3"}
	}
	for _, can := range cans {
		if k.holds(can) > want {
			k.tell(&m.FillAct{Pump: pump, From: can})
			return
		}
	}
	panic("sumpbook: the invented kitchen has run out of oil before " + pump)
}

// chores move every jar one step on that is ready for it.
func (k *kitchen) chores() {
	for i := range jars {
		k.decant(fmt.Sprintf("jar-%d", i+1), "jar-6")
	}
	k.decant("jar-7", "waste-1")
	switch v := k.state.Vessels["jar-6"]; {
	case v.Stage == m.Freezing && k.holds("jar-7") == 0:
		k.tell(&m.SeparateAct{From: "jar-6", To: "jar-7", WaterG: of(math.Round(v.Content.Water.Grams() * 0.9))})
	case v.Stage == m.Residue && k.holds("jar-6") > 250:
		k.tell(&m.FreezeAct{Vessel: "jar-6"})
	}
	k.upkeep()
}

// decant pours off a jar that has stood long enough by the book, filters what came off, and
// puts what stays with the leavings.
func (k *kitchen) decant(jar, leavings string) {
	if !k.ready(jar) || k.state.Vessels[leavings].Stage == m.Freezing {
		return
	}
	k.tell(&m.InspectAct{Vessel: jar, Look: "clear"})
	k.tell(&m.DecantAct{From: jar, To: "pitcher-1"})
	k.tell(&m.PourAct{From: jar, To: leavings})
	minutes := 18 + 2*float64(k.state.Media["paper"].Passes)
	k.tell(&m.FilterAct{From: "pitcher-1", To: "can-2", Medium: "paper", KeptG: of(6), Minutes: of(minutes)})
}

func (k *kitchen) ready(jar string) bool {
	for _, v := range k.state.View(m.DefaultRules(), k.now, 0, "").Vessels {
		if v.Vessel == jar {
			return v.ReadyAt != nil && !v.ReadyAt.After(k.now) && (*v.Stage == m.Drained || *v.Stage == m.Recovered)
		}
	}
	return false
}

// upkeep is what comes up once in a while.
func (k *kitchen) upkeep() {
	n := len(k.entries)
	if k.state.Media["paper"].Passes >= 8 {
		k.tell(&m.MediumAct{Medium: "paper"})
	}
	if k.holds("waste-1") > 600 {
		k.tell(&m.DiscardAct{From: "waste-1", Where: "collection point"})
	}
	switch {
	case n > 60 && k.state.Care["gasket@north"].Entry == "":
		k.tell(&m.CareAct{Task: "gasket", Pump: "north"})
	case n > 150 && len(k.state.Aside) == 0:
		k.snooze()
	case n > 110 && k.state.Ledger.Lost == 0:
		k.tell(&m.WeighAct{Vessel: "can-2", Grams: of(math.Round(k.holds("can-2") - 14))}, "some ran down the outside")
	}
}

// snooze lets the youngest jar wait a day longer.
func (k *kitchen) snooze() {
	var standing []*m.Vessel
	for _, v := range k.state.Vessels {
		if v.Stage == m.Drained {
			standing = append(standing, v)
		}
	}
	if len(standing) == 0 {
		return
	}
	young := slices.MaxFunc(standing, func(a, b *m.Vessel) int { return cmp.Or(a.Since.Compare(b.Since), cmp.Compare(a.Name, b.Name)) })
	k.tell(&m.SnoozeAct{Action: "decant/" + young.Name + "/" + young.SinceEntry, Until: k.now.Add(6 * 24 * time.Hour)}, "away over the weekend")
}
