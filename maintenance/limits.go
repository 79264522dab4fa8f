package maintenance

import "strings"

// Limits are the numbers against which the oil is judged. An unset one is nil: nearest
// wins, from the pump's own entry over the configuration to DefaultLimits.
type Limits struct {
	DrainCycles    *float64 `json:"drain_cycles,omitzero"`
	DrainRunH      *float64 `json:"drain_run_h,omitzero"`
	DrainWaterG    *float64 `json:"drain_water_g,omitzero"`
	AirH           *float64 `json:"air_h,omitzero"`
	DrainSlow      *float64 `json:"drain_slow,omitzero"`
	SettleUm       *float64 `json:"settle_um,omitzero"`
	SettleMinH     *float64 `json:"settle_min_h,omitzero"`
	FilterPasses   *float64 `json:"filter_passes,omitzero"`
	FillFreeWaterG *float64 `json:"fill_free_water_g,omitzero"`
	ReplaceRunH    *float64 `json:"replace_run_h,omitzero"`
	ReplaceUses    *float64 `json:"replace_uses,omitzero"`
	ReplaceWaterG  *float64 `json:"replace_water_g,omitzero"`
	ThermalH       *float64 `json:"thermal_h,omitzero"`
	ColourRise     *float64 `json:"colour_rise,omitzero"`
	AcidRiseMgG    *float64 `json:"acid_rise_mg_g,omitzero"`
	BlankOffFactor *float64 `json:"blank_off_factor,omitzero"`
	MediumSlow     *float64 `json:"medium_slow,omitzero"`
	WasteFull      *float64 `json:"waste_full,omitzero"`
	FullFraction   *float64 `json:"full_fraction,omitzero"`
}

// A LimitSpec documents one limit: its key, unit, range and default (nil: unset), and
// what the default rests on.
type LimitSpec struct {
	Key, Unit, Meaning, Source string
	Low, High                  float64
	Default                    *float64
	field                      func(*Limits) **float64
}

const practice = "common practice, no source: the maker's manual wins"

func num(v float64) *float64 { return &v }

// LimitSpecs lists every limit, in the order of the documentation.
func LimitSpecs() []LimitSpec { return limitSpecs }

var limitSpecs = []LimitSpec{
	{"drain_cycles", "cycles", "drain after so many cycles since the change", practice, 1, 1000, num(1), func(l *Limits) **float64 { return &l.DrainCycles }},
	{"drain_run_h", "h", "drain after so many run hours since the change", practice, 0.1, 100000, nil, func(l *Limits) **float64 { return &l.DrainRunH }},
	{"drain_water_g", "g", "drain after so much carry-over since the change", practice, 0.1, 100000, nil, func(l *Limits) **float64 { return &l.DrainWaterG }},
	{"air_h", "h", "stand open to air before the fill", practice, 0, 1000, num(2), func(l *Limits) **float64 { return &l.AirH }},
	{"drain_slow", "1", "the window closes when the oil is so many times as viscous as at the pump's normal running temperature", "rule of this project, no source", 1.01, 100, num(3), func(l *Limits) **float64 { return &l.DrainSlow }},
	{"settle_um", "µm", "the smallest droplet that must have sunk", "rule of this project, no source: 30 µm reproduces several days of settling", 1, 1000, num(30), func(l *Limits) **float64 { return &l.SettleUm }},
	{"settle_min_h", "h", "never ready sooner", practice, 0, 10000, num(24), func(l *Limits) **float64 { return &l.SettleMinH }},
	{"filter_passes", "passes", "filter passes wanted before reuse", practice, 0, 100, num(1), func(l *Limits) **float64 { return &l.FilterPasses }},
	{"fill_free_water_g", "g", "free water that ready oil may hold", practice, 0, 10000, num(2), func(l *Limits) **float64 { return &l.FillFreeWaterG }},
	{"replace_run_h", "h", "life of the oil in run hours", practice, 1, 1000000, num(600), func(l *Limits) **float64 { return &l.ReplaceRunH }},
	{"replace_uses", "charges", "life of the oil in charges served", practice, 1, 10000, num(20), func(l *Limits) **float64 { return &l.ReplaceUses }},
	{"replace_water_g", "g", "life of the oil in carry-over taken up in all", practice, 0.1, 1000000, nil, func(l *Limits) **float64 { return &l.ReplaceWaterG }},
	{"thermal_h", "h", "life of the oil in hours at 60 °C by the ten-degree rule", practice, 1, 10000000, nil, func(l *Limits) **float64 { return &l.ThermalH }},
	{"colour_rise", "D1500", "darker than new oil by so much", practice, 0.5, 8, num(2), func(l *Limits) **float64 { return &l.ColourRise }},
	{"acid_rise_mg_g", "mg/g", "acid number above new oil", "rule of this project, no source: no uniform condemning limit exists", 0.01, 100, num(0.5), func(l *Limits) **float64 { return &l.AcidRiseMgG }},
	{"blank_off_factor", "1", "blank-off pressure against the pump's own reading on new oil", practice, 1.01, 1000, num(2), func(l *Limits) **float64 { return &l.BlankOffFactor }},
	{"medium_slow", "1", "the medium is spent when the same mass takes so many times as long as fresh, viscosity corrected", "rule of this project, no source", 1.01, 100, num(3), func(l *Limits) **float64 { return &l.MediumSlow }},
	{"waste_full", "1", "share of the waste vessel's capacity at which to hand it in", practice, 0.1, 1, num(0.9), func(l *Limits) **float64 { return &l.WasteFull }},
	{"full_fraction", "1", "share of never-run oil that makes a change a full replacement", practice, 0.01, 1, num(0.95), func(l *Limits) **float64 { return &l.FullFraction }},
}

// DefaultLimits are those of the documentation.
func DefaultLimits() Limits {
	var l Limits
	for _, s := range limitSpecs {
		*s.field(&l) = s.Default
	}
	return l
}

// Over gives l where it is set and base elsewhere.
func (l Limits) Over(base Limits) Limits {
	for _, s := range limitSpecs {
		if v := *s.field(&l); v != nil {
			*s.field(&base) = v
		}
	}
	return base
}

// Check names the first limit outside its range.
func (l Limits) Check() error {
	for _, s := range limitSpecs {
		v := *s.field(&l)
		if v != nil && !(*v >= s.Low && *v <= s.High) {
			return reject("limits."+s.Key, strings.TrimSuffix("give "+span(s.Low, s.High)+" "+s.Unit, " 1"), "%v is out of range", *v)
		}
	}
	return nil
}
