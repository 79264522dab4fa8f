package maintenance

import "time"

// An Act is what an entry says happened: one struct per kind of the journal. The tags are
// the kind's documentation: `unit` (the suffix of the name), `range` (interval notation),
// `must` (the field has to be there) and `doc`.
type Act interface{ Kind() string }

// An Amount of oil, as it was measured: by weight, or by volume at a temperature.
type Amount struct {
	Grams *float64 `json:"grams" unit:"g" range:"(0,10000000]" doc:"weight moved"`
	Ml    *float64 `json:"ml" unit:"ml" range:"(0,10000000]" doc:"volume moved, at temp_c"`
	TempC *float64 `json:"temp_c" unit:"C" range:"[-40,150]" doc:"temperature of the measured volume, 20 if not told; at a drain, of the oil"`
}

// IsZero says that no amount was given: the act then takes its own default.
func (a Amount) IsZero() bool { return a.Grams == nil && a.Ml == nil }

// PumpAct declares or revises a pump.
type PumpAct struct {
	Pump         string   `json:"pump" must:"yes" name:"yes" doc:"name of the pump"`
	Name         string   `json:"name" doc:"what people call it"`
	ChargeMl     *float64 `json:"charge_ml" unit:"ml" range:"[10,100000]" must:"first" doc:"oil the sump takes, to its mark"`
	HeelMl       *float64 `json:"heel_ml" unit:"ml" range:"[0,50000]" doc:"oil no drain reaches; 3 % of the charge if not told"`
	SpeedM3H     *float64 `json:"speed_m3_h" unit:"m3/h" range:"[0.1,1000]" doc:"the maker's nominal pumping speed"`
	BallastLMin  *float64 `json:"ballast_l_min" unit:"l/min" range:"[0,1000]" doc:"gas ballast flow with the valve open"`
	HotC         *float64 `json:"hot_c" unit:"C" range:"[0,150]" doc:"oil temperature in normal running"`
	AmbientC     *float64 `json:"ambient_c" unit:"C" range:"[-40,60]" doc:"temperature of the room"`
	TrapC        *float64 `json:"trap_c" unit:"C" range:"[-120,0]" doc:"temperature of the cold trap"`
	CoolTauMin   *float64 `json:"cool_tau_min" unit:"min" range:"[1,1440]" doc:"cooling time constant of the stopped pump"`
	CarryFactor  *float64 `json:"carry_over_factor" range:"[0.02,50]" doc:"pins what of the reckoned water really comes over; learned if not told"`
	SettleFactor *float64 `json:"settling_factor" range:"[0.02,50]" doc:"pins how many times the reckoned time this pump's oil takes to settle; 1 if not told"`
	MediumFactor *float64 `json:"medium_factor" range:"[0.02,50]" doc:"pins how many times the assumed time this pump's oil takes through a fresh medium; learned if not told"`
	Limits       *Limits  `json:"limits" doc:"this pump's own limits"`
	Retired      *bool    `json:"retired" doc:"the pump is gone; it must be empty but for its heel"`
}

// VesselAct declares or revises a vessel.
type VesselAct struct {
	Vessel     string   `json:"vessel" must:"yes" name:"yes" doc:"name of the vessel"`
	Name       string   `json:"name" doc:"what people call it"`
	CapacityMl *float64 `json:"capacity_ml" unit:"ml" range:"(0,1000000]" doc:"what it holds, full"`
	HeightMm   *float64 `json:"height_mm" unit:"mm" range:"[5,2000]" doc:"depth of the oil in it when full"`
	TareG      *float64 `json:"tare_g" unit:"g" range:"[0,1000000]" doc:"weight of the empty vessel"`
	StoreC     *float64 `json:"store_c" unit:"C" range:"[-40,60]" doc:"temperature of the place where it stands"`
	Waste      *bool    `json:"waste" doc:"all that enters is waste"`
	Retired    *bool    `json:"retired" doc:"the vessel is gone; it must be empty"`
}

// MediumAct declares a filter medium, or says that a fresh one is in.
type MediumAct struct {
	Medium string `json:"medium" must:"yes" name:"yes" doc:"name of the filter medium"`
	Name   string `json:"name" doc:"what people call it"`
}

// LotAct is a purchase of new oil.
type LotAct struct {
	Lot       string `json:"lot" must:"yes" name:"yes" doc:"name of the purchase"`
	Vessel    string `json:"vessel" must:"yes" name:"yes" doc:"where the new oil is; declared by this entry if new"`
	Amount    `doc:"how much was bought"`
	Grade     string   `json:"grade" doc:"ISO viscosity grade, such as VG 68"`
	Density15 *float64 `json:"density_15" unit:"kg/m3" range:"[800,1164]" doc:"density at 15 °C"`
	Name      string   `json:"name" doc:"what people call it"`
	Price     *float64 `json:"price" range:"[0,1000000000]" doc:"what it cost in all"`
	Currency  string   `json:"currency" doc:"of the price, such as EUR"`
}

// WeighAct says what is really in a place.
type WeighAct struct {
	Vessel   string   `json:"vessel" name:"yes" doc:"the vessel weighed"`
	Pump     string   `json:"pump" name:"yes" doc:"the pump whose sump was measured"`
	Grams    *float64 `json:"grams" unit:"g" range:"[0,10000000]" doc:"what is in it"`
	Ml       *float64 `json:"ml" unit:"ml" range:"[0,10000000]" doc:"volume in it, at temp_c"`
	TempC    *float64 `json:"temp_c" unit:"C" range:"[-40,150]" doc:"temperature of the measured volume; 20 if not told"`
	GrossG   *float64 `json:"gross_g" unit:"g" range:"[0,10000000]" doc:"weight with the vessel, whose tare_g must be known"`
	Lot      string   `json:"lot" name:"yes" doc:"lot to which found oil belongs"`
	Stage    Stage    `json:"stage" doc:"how far the oil has come"`
	WaterG   *float64 `json:"water_g" unit:"g" range:"[0,10000000]" doc:"water in it"`
	RunHours *float64 `json:"run_hours" unit:"h" range:"[0,1000000]" doc:"hours the oil has run before the book"`
}

// LoadAct is weight put into the chamber, for the running or the next cycle.
type LoadAct struct {
	Pump    string    `json:"pump" must:"yes" name:"yes" doc:"the pump of the chamber"`
	Grams   *float64  `json:"grams" must:"yes" unit:"g" range:"(0,10000000]" doc:"weight in"`
	TraysG  []float64 `json:"trays_g" unit:"g" range:"[0,10000000]" doc:"weight in, tray by tray"`
	Class   string    `json:"class" name:"yes" doc:"class of food, for upkeep tasks"`
	Weighed string    `json:"weighed" oneof:"frozen,fresh" doc:"frozen (if not told) or fresh, before freezing"`
}

// StartAct is the pump beginning to run.
type StartAct struct {
	Pump    string   `json:"pump" must:"yes" name:"yes" doc:"the pump"`
	Ballast string   `json:"ballast" oneof:"open,shut" doc:"gas ballast valve"`
	TrapC   *float64 `json:"trap_c" unit:"C" range:"[-120,0]" doc:"temperature of the cold trap"`
	What    string   `json:"what" oneof:"cycle,blank" doc:"cycle (if not told), or blank: no load, inlet closed"`
}

// StopAct is the pump coming to rest. Uncertain marks a stop inferred from a source that
// fell silent: it is booked at the last sample that ran, and a check asks about it.
type StopAct struct {
	Pump       string   `json:"pump" must:"yes" name:"yes" doc:"the pump"`
	HotC       *float64 `json:"hot_c" unit:"C" range:"[0,150]" doc:"oil temperature at the stop"`
	TrapC      *float64 `json:"trap_c" unit:"C" range:"[-120,0]" doc:"temperature of the cold trap"`
	BallastMin *float64 `json:"ballast_min" unit:"min" range:"[0,1000000]" doc:"how long the ballast was open before the stop"`
	Uncertain  *bool    `json:"uncertain" doc:"the stop was inferred, not seen"`
}

// YieldAct is weight out of the chamber.
type YieldAct struct {
	Pump   string    `json:"pump" must:"yes" name:"yes" doc:"the pump of the chamber"`
	Grams  *float64  `json:"grams" must:"yes" unit:"g" range:"[0,10000000]" doc:"weight out"`
	TraysG []float64 `json:"trays_g" unit:"g" range:"[0,10000000]" doc:"weight out, tray by tray"`
	Cycle  string    `json:"cycle" id:"yes" doc:"id of the cycle's start; the last ended one if not told"`
}

// DrainAct lets oil out of the sump into a vessel.
type DrainAct struct {
	Pump   string `json:"pump" must:"yes" name:"yes" doc:"the pump"`
	To     string `json:"to" must:"yes" name:"yes" doc:"the vessel"`
	Amount `doc:"all but the heel if not told; a volume is at the estimated oil temperature"`
}

// FillAct puts oil from a vessel into the sump.
type FillAct struct {
	Pump   string `json:"pump" must:"yes" name:"yes" doc:"the pump"`
	From   string `json:"from" must:"yes" name:"yes" doc:"the vessel"`
	Amount `doc:"up to the charge if not told, and the last drops of the vessel too"`
}

// PourAct moves oil between vessels, well mixed.
type PourAct struct {
	From   string `json:"from" must:"yes" name:"yes" doc:"the vessel poured from"`
	To     string `json:"to" must:"yes" name:"yes" doc:"the vessel poured into"`
	Amount `doc:"all if not told"`
}

// DecantAct pours the clear oil off the top.
type DecantAct struct {
	From   string `json:"from" must:"yes" name:"yes" doc:"the vessel decanted"`
	To     string `json:"to" must:"yes" name:"yes" doc:"the vessel for the clear oil"`
	Amount `doc:"all but a tenth or twice the settled water, whichever is more, if not told"`
}

// FilterAct is one filter pass.
type FilterAct struct {
	From    string `json:"from" must:"yes" name:"yes" doc:"the vessel filtered from"`
	To      string `json:"to" must:"yes" name:"yes" doc:"the vessel for the filtered oil"`
	Medium  string `json:"medium" name:"yes" doc:"the filter medium; the last declared if not told"`
	Amount  `doc:"all if not told"`
	KeptG   *float64 `json:"kept_g" unit:"g" range:"[0,10000000]" doc:"what stayed in the medium"`
	Minutes *float64 `json:"minutes" unit:"min" range:"(0,1000000]" doc:"how long the pass took"`
}

// FreezeAct puts a vessel into the cold to freeze its water.
type FreezeAct struct {
	Vessel string `json:"vessel" must:"yes" name:"yes" doc:"the vessel"`
}

// SeparateAct takes the frozen water out and pours the oil on.
type SeparateAct struct {
	From   string   `json:"from" must:"yes" name:"yes" doc:"the frozen vessel"`
	To     string   `json:"to" must:"yes" name:"yes" doc:"the vessel for the recovered oil"`
	WaterG *float64 `json:"water_g" must:"yes" unit:"g" range:"[0,10000000]" doc:"the ice taken out, weighed"`
	Amount `doc:"oil poured on; all if not told"`
}

// DiscardAct is oil that leaves for good.
type DiscardAct struct {
	From   string `json:"from" must:"yes" name:"yes" doc:"the vessel"`
	Amount `doc:"all if not told"`
	Where  string `json:"where" doc:"where it went"`
}

// InspectAct is an observation of the oil.
type InspectAct struct {
	Vessel    string   `json:"vessel" name:"yes" doc:"the vessel looked at"`
	Pump      string   `json:"pump" name:"yes" doc:"the pump looked at"`
	Colour    *float64 `json:"colour" range:"[0.5,8]" step:"0.5" doc:"ASTM D1500 colour, 0.5 to 8 in halves"`
	Look      string   `json:"look" oneof:"clear,hazy,milky,dark" doc:"how it looks"`
	AcidMgG   *float64 `json:"acid_mg_g" range:"[0,100]" doc:"acid number, mg KOH per g"`
	WaterPpm  *float64 `json:"water_ppm" range:"[0,1000000]" doc:"water by mass, mg/kg"`
	Particles string   `json:"particles" code:"yes" doc:"three-number cleanliness code, such as 19/16/13"`
}

// VacuumAct is a pressure reading.
type VacuumAct struct {
	Pump string   `json:"pump" must:"yes" name:"yes" doc:"the pump"`
	Pa   *float64 `json:"pa" must:"yes" unit:"Pa" range:"(0,110000]" doc:"the pressure"`
	What string   `json:"what" oneof:"blank-off,cycle" doc:"blank-off (if not told), or cycle"`
}

// CareAct is an upkeep task done.
type CareAct struct {
	Task string `json:"task" must:"yes" name:"yes" doc:"the task"`
	Pump string `json:"pump" name:"yes" doc:"the pump it was done on"`
}

// SnoozeAct lets a reminder wait.
type SnoozeAct struct {
	Action string    `json:"action" must:"yes" id:"action" doc:"id of the action"`
	Until  time.Time `json:"until" must:"yes" doc:"when to remind again"`
}

// SkipAct sets an action aside; the entry's note says why.
type SkipAct struct {
	Action string `json:"action" must:"yes" id:"action" doc:"id of the action"`
}

// VoidAct withdraws an entry.
type VoidAct struct {
	Entry string `json:"entry" must:"yes" id:"yes" doc:"id of the entry withdrawn"`
}

// NoteAct is words only.
type NoteAct struct {
	Pump   string `json:"pump" name:"yes" doc:"the pump they are about"`
	Vessel string `json:"vessel" name:"yes" doc:"the vessel they are about"`
}

func (*PumpAct) Kind() string     { return "pump" }
func (*VesselAct) Kind() string   { return "vessel" }
func (*MediumAct) Kind() string   { return "medium" }
func (*LotAct) Kind() string      { return "lot" }
func (*WeighAct) Kind() string    { return "weigh" }
func (*LoadAct) Kind() string     { return "load" }
func (*StartAct) Kind() string    { return "start" }
func (*StopAct) Kind() string     { return "stop" }
func (*YieldAct) Kind() string    { return "yield" }
func (*DrainAct) Kind() string    { return "drain" }
func (*FillAct) Kind() string     { return "fill" }
func (*PourAct) Kind() string     { return "pour" }
func (*DecantAct) Kind() string   { return "decant" }
func (*FilterAct) Kind() string   { return "filter" }
func (*FreezeAct) Kind() string   { return "freeze" }
func (*SeparateAct) Kind() string { return "separate" }
func (*DiscardAct) Kind() string  { return "discard" }
func (*InspectAct) Kind() string  { return "inspect" }
func (*VacuumAct) Kind() string   { return "vacuum" }
func (*CareAct) Kind() string     { return "care" }
func (*SnoozeAct) Kind() string   { return "snooze" }
func (*SkipAct) Kind() string     { return "skip" }
func (*VoidAct) Kind() string     { return "void" }
func (*NoteAct) Kind() string     { return "note" }

// acts makes an empty act of each kind, in the order of the journal's documentation.
var acts = []func() Act{
	func() Act { return new(PumpAct) }, func() Act { return new(VesselAct) },
	func() Act { return new(MediumAct) }, func() Act { return new(LotAct) },
	func() Act { return new(WeighAct) }, func() Act { return new(LoadAct) },
	func() Act { return new(StartAct) }, func() Act { return new(StopAct) },
	func() Act { return new(YieldAct) }, func() Act { return new(DrainAct) },
	func() Act { return new(FillAct) }, func() Act { return new(PourAct) },
	func() Act { return new(DecantAct) }, func() Act { return new(FilterAct) },
	func() Act { return new(FreezeAct) }, func() Act { return new(SeparateAct) },
	func() Act { return new(DiscardAct) }, func() Act { return new(InspectAct) },
	func() Act { return new(VacuumAct) }, func() Act { return new(CareAct) },
	func() Act { return new(SnoozeAct) }, func() Act { return new(SkipAct) },
	func() Act { return new(VoidAct) }, func() Act { return new(NoteAct) },
}
