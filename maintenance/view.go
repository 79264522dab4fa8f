package maintenance

import (
	"maps"
	"slices"
	"time"
)

// A StateView is everything derived, as `state --json` prints it; masses in g, times in h.
type StateView struct {
	At      time.Time    `json:"at"`
	Seq     uint64       `json:"seq"`
	Head    string       `json:"head"`
	Pumps   []PumpView   `json:"pumps"`
	Vessels []VesselView `json:"vessels"`
	Ledger  LedgerView   `json:"ledger"`
}

// A PumpView is one pump.
type PumpView struct {
	Pump       string      `json:"pump"`
	Running    bool        `json:"running"`
	Open       bool        `json:"open"`
	RunHours   float64     `json:"run_hours"`
	Cycles     int         `json:"cycles"`
	Charge     *ChargeView `json:"charge"`
	LastDrain  *time.Time  `json:"last_drain"`
	LastChange *time.Time  `json:"last_change"`
	Full       *FullView   `json:"last_full_replacement"`
}

// A ParcelView is what a place holds.
type ParcelView struct {
	Grams        float64            `json:"grams"`
	OilG         float64            `json:"oil_g"`
	WaterG       float64            `json:"water_g"`
	WaterLowG    float64            `json:"water_low_g"`
	WaterHighG   float64            `json:"water_high_g"`
	Lots         map[string]float64 `json:"lots"`
	OilHours     float64            `json:"oil_hours"`
	ThermalHours float64            `json:"thermal_hours"`
	Uses         int                `json:"uses"`
	AgeUnknownG  float64            `json:"age_unknown_g,omitzero"` // of the oil: its life before the book was not told and counts as 0
}

// A ChargeView is what a sump holds, and what has happened to it since the change.
type ChargeView struct {
	ID    string    `json:"id"`
	Since time.Time `json:"since"`
	ParcelView
	RunHours      float64 `json:"run_hours"`
	Cycles        int     `json:"cycles"`
	WaterRemovedG float64 `json:"water_removed_g"`
	CarryOverG    float64 `json:"carry_over_g"`
	CarryLowG     float64 `json:"carry_over_low_g"`
	CarryHighG    float64 `json:"carry_over_high_g"`
	ExpelledG     float64 `json:"expelled_g"`
	FreshFraction float64 `json:"fresh_fraction"`
}

// A FullView is the last full replacement, with what ran since.
type FullView struct {
	At            time.Time `json:"at"`
	Entry         string    `json:"entry"`
	FreshFraction float64   `json:"fresh_fraction"`
	RunHours      float64   `json:"run_hours"`
	Cycles        int       `json:"cycles"`
}

// A VesselView is one vessel. Stage and ReadyAt are null where there is none.
type VesselView struct {
	Vessel string    `json:"vessel"`
	Stage  *Stage    `json:"stage"`
	Since  time.Time `json:"since"`
	ParcelView
	FilterPasses int        `json:"filter_passes"`
	Settled      float64    `json:"settled"`
	SettledLow   float64    `json:"settled_low"`
	SettledHigh  float64    `json:"settled_high"`
	ReadyAt      *time.Time `json:"ready_at"`
	ReadyLow     *time.Time `json:"ready_at_low,omitzero"`
	ReadyHigh    *time.Time `json:"ready_at_high,omitzero"`
	NotReady     string     `json:"not_ready,omitzero"` // why oil that was filtered may not go into a pump yet
}

// A LedgerView is the double entry: opening + received + found + carried over = in pumps +
// in vessels + in media + discarded + lost + expelled + water taken out.
type LedgerView struct {
	ReceivedG   float64 `json:"received_g"`
	OpeningG    float64 `json:"opening_g"`
	FoundG      float64 `json:"found_g"`
	InPumpsG    float64 `json:"in_pumps_g"`
	InVesselsG  float64 `json:"in_vessels_g"`
	InMediaG    float64 `json:"in_media_g"`
	DiscardedG  float64 `json:"discarded_g"`
	LostG       float64 `json:"lost_g"`
	CarryOverG  float64 `json:"carry_over_g"`
	ExpelledG   float64 `json:"expelled_g"`
	WaterTakenG float64 `json:"water_taken_g"`
}

// View shows a state at an instant not before its last entry: of a running pump hours
// count to at. seq and head are those of the journal the state came from.
func (s *State) View(r Rules, at time.Time, seq uint64, head string) StateView {
	v := StateView{At: at, Seq: seq, Head: head, Pumps: []PumpView{}, Vessels: []VesselView{}, Ledger: s.ledgerView()}
	for _, name := range sortedKeys(s.Pumps) {
		if p := s.Pumps[name]; !p.Retired {
			v.Pumps = append(v.Pumps, p.view(r, at))
		}
	}
	for _, name := range sortedKeys(s.Vessels) {
		if w := s.Vessels[name]; !w.Retired {
			v.Vessels = append(v.Vessels, s.vesselView(r, w, at))
		}
	}
	return v
}

// Until is a copy of the pump with its run hours counted to at.
func (p *Pump) Until(at time.Time) *Pump {
	if p.Run == nil {
		return p
	}
	c := p.clone()
	c.accrue(at)
	return c
}

func (p *Pump) view(r Rules, at time.Time) PumpView {
	p = p.Until(at)
	v := PumpView{
		Pump: p.Name, Running: p.Run != nil, Open: p.Open, RunHours: p.RunTime.Hours(), Cycles: p.Cycles,
		LastDrain: p.LastDrain, LastChange: p.LastChange, Full: p.fullView(r),
	}
	if c := p.Charge; c != nil {
		v.Charge = &ChargeView{
			ID: c.ID, Since: c.Since, ParcelView: p.Sump.view(), RunHours: c.RunTime.Hours(), Cycles: c.Cycles,
			WaterRemovedG: c.WaterRemoved.Grams(), CarryOverG: c.CarryOver.Grams(), CarryLowG: c.CarryLow.Grams(), CarryHighG: c.CarryHigh.Grams(), ExpelledG: c.Expelled.Grams(),
			FreshFraction: p.Sump.FreshFraction(),
		}
	}
	return v
}

func (p *Pump) fullView(r Rules) *FullView {
	full := p.FullNow(r)
	if full == nil {
		return nil
	}
	return &FullView{full.At, full.Entry, full.Share, (p.RunTime - full.RunTime).Hours(), p.Cycles - full.Cycles}
}

func (s *State) vesselView(r Rules, w *Vessel, at time.Time) VesselView {
	v := VesselView{
		Vessel: w.Name, Since: w.Since, ParcelView: w.Content.view(),
		FilterPasses: w.Content.Passes, Settled: s.settled(w, at),
	}
	if w.Stage != NoStage {
		v.Stage = &w.Stage
	}
	v.SettledLow, v.SettledHigh = s.settledBetween(w, at)
	if ready, ok := s.readyAt(w, r.Limits); ok {
		low, high := s.readyBetween(w, r.Limits)
		v.ReadyAt, v.ReadyLow, v.ReadyHigh = &ready, &low, &high
	}
	if w.Stage == Filtered {
		v.NotReady = s.notReady(w, r.Limits)
	}
	return v
}

func (p Parcel) view() ParcelView {
	v := ParcelView{
		Grams: p.Total().Grams(), OilG: p.OilMass().Grams(), WaterG: p.Water.Grams(), WaterLowG: p.WaterLow.Grams(), WaterHighG: p.WaterHigh.Grams(),
		Lots: map[string]float64{}, OilHours: p.OilHours(), ThermalHours: p.ThermalHours(), Uses: p.Uses,
		AgeUnknownG: p.AgeUnsure.Grams(),
	}
	for _, l := range p.Oil {
		v.Lots[l.Lot] = l.Mass.Grams()
	}
	return v
}

func (s *State) ledgerView() LedgerView {
	l := s.Ledger
	return LedgerView{
		l.Received.Grams(), l.Opening.Grams(), l.Found.Grams(), s.InPumps().Grams(), s.InVessels().Grams(), s.InMedia().Grams(),
		l.Discarded.Grams(), l.Lost.Grams(), l.CarryOver.Grams(), l.Expelled.Grams(), l.WaterTaken.Grams(),
	}
}

func sortedKeys[T any](m map[string]T) []string { return slices.Sorted(maps.Keys(m)) }
