package maintenance

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestMuchKeptByTheMediumIsAskedAbout(t *testing.T) {
	b := kitchen(t).tell("weigh vessel=jar-1 grams=500", "filter from=jar-1 to=jar-2 grams=100 kept_g=20")
	require.Empty(t, b.remarks, "a fifth may soak in")
	b.tell("filter from=jar-1 to=jar-2 grams=100 kept_g=20.4")
	require.Contains(t, b.remarks, "20.4 g of 100 g stayed in the medium")
}

func TestARunWithoutOilSaysWhatIsOnTheBook(t *testing.T) {
	b := newTale(t, "pump pump=north charge_ml=700", "start pump=north")
	require.Contains(t, b.remarks, "never filled")
	b = kitchen(t).tell("drain pump=north to=jar-1", "start pump=north")
	require.Contains(t, b.remarks, "drained and not filled")
	b = kitchen(t).tell("start pump=north")
	require.Empty(t, b.remarks)
}

func TestOilOfUnknownAgeIsShown(t *testing.T) {
	b := kitchen(t).tell("weigh vessel=jar-1 grams=500 water_g=20")
	require.InDelta(t, 480, b.vessel("jar-1").AgeUnknownG, 1e-9)
	require.Zero(t, b.vessel("can-1").AgeUnknownG, "bought oil is new")
	b.tell("weigh vessel=jar-2 grams=500 run_hours=30", "pour from=jar-1 to=jar-2 grams=250")
	require.InDelta(t, 240, b.vessel("jar-2").AgeUnknownG, 1e-9)
}

func TestAPurchaseOfAKnownNameIsSaid(t *testing.T) {
	b := kitchen(t)
	require.Empty(t, b.remarks)
	b.tell("lot lot=lot-1 vessel=can-2 grams=1500")
	require.Contains(t, b.remarks, "lot-1 was on the book with 4000 g; with this purchase of the same name it is 5500 g")
	b.tell("lot lot=lot-2 vessel=can-2 grams=1500")
	require.NotContains(t, b.remarks, "on the book")
}

// A purchase for one pump is not counted towards another that needs far more.
func TestStockThatIsTooLittleForOnePumpServesTheNext(t *testing.T) {
	r := DefaultRules()
	r.Limits.ReplaceRunH = num(20)
	s := told(t, r, []said{
		{"a", 0, &PumpAct{Pump: "north", ChargeMl: num(700)}}, {"b", 0, &PumpAct{Pump: "south", ChargeMl: num(100)}},
		{"c", 0, &LotAct{Lot: "lot-1", Vessel: "can-1", Amount: Amount{Ml: num(800)}}},
		{"d", 0, &FillAct{Pump: "north", From: "can-1"}}, {"e", 0, &FillAct{Pump: "south", From: "can-1"}},
		{"f", 1, &StartAct{Pump: "north"}}, {"g", 1, &StartAct{Pump: "south"}},
		{"h", 25, &StopAct{Pump: "north"}}, {"i", 25, &StopAct{Pump: "south"}},
	})
	require.NotNil(t, findAsked(s, r, 26, "buy-oil/north"))
	act := asks(t, s, r, 26, "buy-oil/south").Record.Act
	_, err := s.Apply(r, Entry{ID: "bought", Seq: 19, At: hour(26), Act: act})
	require.NoError(t, err)
	require.NotNil(t, findAsked(s, r, 26, "buy-oil/north"))
	require.Nil(t, findAsked(s, r, 26, "buy-oil/south"))
}

func TestAFillTakesTheLastDrops(t *testing.T) {
	b := kitchen(t).tell("drain pump=north to=jar-1")
	need := b.s.massOfVolume(700-b.s.volumeMl(b.s.Pumps["north"].Sump, 20), b.s.Vessels["can-1"].Content, 20).Grams()
	for surplus, left := range map[float64]float64{4.9: 0, 5.1: 5.1} {
		c := &tale{t: t, s: b.s.Clone(), rules: b.rules, now: b.now, told: b.told}
		c.tell(fmt.Sprintf("weigh vessel=can-1 grams=%.3f", need+surplus), "fill pump=north from=can-1")
		require.InDelta(t, left, c.vessel("can-1").Grams, 2e-3, "surplus %v g", surplus)
	}
	small := newTale(t, "pump pump=small charge_ml=100", "lot lot=lot-1 vessel=can-1 ml=104", "fill pump=small from=can-1")
	require.InDelta(t, 4, small.s.volumeMl(small.s.Vessels["can-1"].Content, 20), 0.01, "never more than a hundredth over the mark")
}

func TestTimesAreSaidInTheOffsetOfTheEntry(t *testing.T) {
	b := kitchen(t).tell("start pump=north")
	e := b.entry("drain pump=north to=jar-1")
	e.At = b.now.Add(hours(1)).In(time.FixedZone("CET", 3600))
	_, err := b.s.Apply(b.rules, e)
	require.ErrorContains(t, err, "north is running since "+b.now.In(e.At.Location()).Format("Mon 2006-01-02 15:04"))
	require.NotContains(t, err.Error(), "+01:00")
}

func TestWhyNotReadsAsPeopleSpeak(t *testing.T) {
	r := DefaultRules()
	r.Limits.DrainCycles = num(2)
	b := kitchen(t).ran(24)
	require.Contains(t, WhyNot(b.s, r, b.now, DoDrain)[0], "no limit is reached: 1 cycle, 24.0 h")
	require.Contains(t, WhyNot(b.s, r, b.now, DoDrain)[0], "limit 2 cycles")
	b.tell("drain pump=north to=jar-1")
	v := b.vessel("jar-1")
	require.Contains(t, strings.Join(WhyNot(b.s, b.rules, b.now, DoFreeze), "\n"), "jar-1: it is drained oil: it settles until "+v.ReadyAt.Format("Mon 2006-01-02"))
	require.Contains(t, strings.Join(WhyNot(b.s, b.rules, v.ReadyAt.Add(day), DoFreeze), "\n"), "jar-1: it is drained oil that has settled since "+v.ReadyAt.Format("Mon 2006-01-02"))

	err := Limits{FullFraction: num(2)}.Check()
	var rejection *Rejection
	require.ErrorAs(t, err, &rejection)
	require.Equal(t, "give 0.01 to 1", rejection.Hint)
}

func TestChargesServedBeforeAreTakenOffInTheOpen(t *testing.T) {
	r := DefaultRules()
	r.Limits.ReplaceUses = num(1)
	s := told(t, r, shedNorth(), turn("1", 1, "waste", "can-1"), turn("2", 31, "waste", "can-1"))
	a := findAsked(s, r, 60, "replace/north")
	require.Nil(t, a, "new oil has served no charge yet")
	s = told(t, r, shedNorth(), turn("1", 1, "waste", "can-1"), []said{{"run", 31, &StartAct{Pump: "north"}}, {"end", 55, &StopAct{Pump: "north"}}})
	step := stepOf(t, mustWhy(t, s, r, 56, asks(t, s, r, 56, "replace/north").ID), "life: replace_uses")
	in := map[string]float64{}
	for _, i := range step.Inputs {
		in[i.Name] = i.Value
	}
	require.InDelta(t, step.Result, in["uses"]-in["uses_then"], 1e-9)
	require.Positive(t, in["uses_then"], "the heel had served before")
}

// What is told to be recorded, and the working behind it, name the same mass.
func TestRecordAndWorkingAgree(t *testing.T) {
	b := kitchen(t).ran(24).tell("drain pump=north to=jar-1")
	b.after(200)
	a := asks(t, b.s, b.rules, b.now.Sub(day0).Hours(), "decant/jar-1")
	w, _ := Why(b.s, b.rules, b.now, a.ID)
	require.InDelta(t, *a.Record.Act.(*DecantAct).Grams, stepOf(t, w, "amount to record").Result, 0)
}
