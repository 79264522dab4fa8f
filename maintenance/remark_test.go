package maintenance

import (
	"testing"

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
