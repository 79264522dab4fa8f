package maintenance

import (
	"testing"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/stretchr/testify/require"
)

// The whole of `state --json`, of a book whose numbers can be checked by hand: heel 20 g of
// 600 g, no water (blank runs), two lots.
func TestStateAsItIsPrinted(t *testing.T) {
	b := newTale(t,
		"pump pump=north charge_ml=700 hot_c=60 ambient_c=60", "vessel vessel=jar-1", "vessel vessel=jar-2", "medium medium=paper",
		"lot lot=lot-1 vessel=can-1 grams=1000", "lot lot=lot-2 vessel=can-2 grams=1000",
		"id=f1 fill pump=north from=can-1 grams=600", "start pump=north what=blank").
		after(10).tell("stop pump=north", "id=d1 drain pump=north to=jar-1 grams=580", "id=f2 fill pump=north from=can-2 grams=580",
		"filter from=jar-1 to=jar-2 kept_g=10", "discard from=jar-2 grams=70", "start pump=north what=blank").after(5)
	got, err := json.Marshal(b.s.View(b.rules, b.now, 17, "abc"), json.Deterministic(true), jsontext.WithIndent(" "))
	require.NoError(t, err)
	want := `{
 "at": "2026-03-01T21:00:00Z",
 "seq": 17,
 "head": "abc",
 "pumps": [
  {
   "pump": "north",
   "running": true,
   "open": false,
   "run_hours": 15,
   "cycles": 0,
   "charge": {
    "id": "f2",
    "since": "2026-03-01T16:00:00Z",
    "grams": 600,
    "oil_g": 600,
    "water_g": 0,
    "water_low_g": 0,
    "water_high_g": 0,
    "lots": {
     "lot-1": 20,
     "lot-2": 580
    },
    "oil_hours": 5.333333333333333,
    "thermal_hours": 5.333333333333333,
    "uses": 2,
    "run_hours": 5,
    "cycles": 0,
    "water_removed_g": 0,
    "carry_over_g": 0,
    "carry_over_low_g": 0,
    "carry_over_high_g": 0,
    "expelled_g": 0,
    "fresh_fraction": 0.9666666666666667
   },
   "last_drain": "2026-03-01T16:00:00Z",
   "last_change": "2026-03-01T16:00:00Z",
   "last_full_replacement": {
    "at": "2026-03-01T16:00:00Z",
    "entry": "f2",
    "fresh_fraction": 0.9666666666666667,
    "run_hours": 5,
    "cycles": 0
   }
  }
 ],
 "vessels": [
  {
   "vessel": "can-1",
   "stage": "new",
   "since": "2026-03-01T06:00:00Z",
   "grams": 400,
   "oil_g": 400,
   "water_g": 0,
   "water_low_g": 0,
   "water_high_g": 0,
   "lots": {
    "lot-1": 400
   },
   "oil_hours": 0,
   "thermal_hours": 0,
   "uses": 0,
   "filter_passes": 0,
   "settled": 1,
   "settled_low": 1,
   "settled_high": 1,
   "ready_at": null
  },
  {
   "vessel": "can-2",
   "stage": "new",
   "since": "2026-03-01T06:00:00Z",
   "grams": 420,
   "oil_g": 420,
   "water_g": 0,
   "water_low_g": 0,
   "water_high_g": 0,
   "lots": {
    "lot-2": 420
   },
   "oil_hours": 0,
   "thermal_hours": 0,
   "uses": 0,
   "filter_passes": 0,
   "settled": 1,
   "settled_low": 1,
   "settled_high": 1,
   "ready_at": null
  },
  {
   "vessel": "jar-1",
   "stage": null,
   "since": "2026-03-01T16:00:00Z",
   "grams": 0,
   "oil_g": 0,
   "water_g": 0,
   "water_low_g": 0,
   "water_high_g": 0,
   "lots": {},
   "oil_hours": 0,
   "thermal_hours": 0,
   "uses": 0,
   "filter_passes": 0,
   "settled": 1,
   "settled_low": 1,
   "settled_high": 1,
   "ready_at": null
  },
  {
   "vessel": "jar-2",
   "stage": "filtered",
   "since": "2026-03-01T16:00:00Z",
   "grams": 500,
   "oil_g": 500,
   "water_g": 0,
   "water_low_g": 0,
   "water_high_g": 0,
   "lots": {
    "lot-1": 500
   },
   "oil_hours": 10,
   "thermal_hours": 10,
   "uses": 1,
   "filter_passes": 1,
   "settled": 1,
   "settled_low": 1,
   "settled_high": 1,
   "ready_at": null
  }
 ],
 "ledger": {
  "received_g": 2000,
  "opening_g": 0,
  "found_g": 0,
  "in_pumps_g": 600,
  "in_vessels_g": 1320,
  "in_media_g": 10,
  "discarded_g": 70,
  "lost_g": 0,
  "carry_over_g": 0,
  "expelled_g": 0,
  "water_taken_g": 0
 }
}`
	require.Equal(t, want, string(got))
}

func TestAViewChangesNothing(t *testing.T) {
	b := kitchen(t).tell("start pump=north")
	before := fingerprint(t, b.s)
	v := b.after(10).pump("north")
	require.Equal(t, 10.0, v.RunHours)
	require.Equal(t, 10.0, v.Full.RunHours)
	require.Equal(t, before, fingerprint(t, b.s))
}

func TestNothingOnTheBookIsEmptyNotNull(t *testing.T) {
	got, err := json.Marshal(newTale(t).view())
	require.NoError(t, err)
	require.Contains(t, string(got), `"pumps":[],"vessels":[]`)
}
