package maintenance

import "time"

// An Action is one thing to do next. It is derived, never stored: the same facts give the
// same ID (DO/SUBJECT/ENTRY-IT-RESTS-ON), so that a reminder may be repeated, delivered
// twice or answered late and still be one thing.
type Action struct {
	ID       string      `json:"id"`
	Do       Do          `json:"do"`
	Pump     *string     `json:"pump"`
	Vessel   *string     `json:"vessel"`
	Opens    time.Time   `json:"opens"`
	Due      time.Time   `json:"due"`
	Closes   *time.Time  `json:"closes"`
	DueLow   *time.Time  `json:"due_low,omitzero"`  // of a due time that is estimated: the ends
	DueHigh  *time.Time  `json:"due_high,omitzero"` // of its interval of about 90 %
	State    ActionState `json:"state"`
	Why      []Reason    `json:"why"`
	Record   Entry       `json:"record"`   // ready to be added; it takes the time of the telling
	Cautions []string    `json:"cautions"` // never empty where the act can hurt
}

// Do is the kind of an action.
type Do string

// The actions, from the most to the least urgent.
const (
	DoStopPump     Do = "stop-pump"
	DoDrain        Do = "drain"
	DoFill         Do = "fill"
	DoTopUp        Do = "top-up"
	DoReplace      Do = "replace"
	DoDecant       Do = "decant"
	DoSeparate     Do = "separate"
	DoFreeze       Do = "freeze"
	DoFilter       Do = "filter"
	DoChangeMedium Do = "change-medium"
	DoCheck        Do = "check"
	DoCare         Do = "care"
	DoHandIn       Do = "hand-in"
	DoBuyOil       Do = "buy-oil"
)

// ActionState says where now lies in an action's window.
type ActionState string

// Coming before the window opens, Overdue once due has passed, Open between.
const (
	Coming  ActionState = "coming"
	Open    ActionState = "open"
	Overdue ActionState = "overdue"
)

// A Reason is one number an action rests on.
type Reason struct {
	Rule   string  `json:"rule"`   // the limit's key, or the name of the computation
	Value  float64 `json:"value"`  // what is
	Limit  float64 `json:"limit"`  // what it is held against
	Unit   string  `json:"unit"`   // of both
	Source string  `json:"source"` // of the limit or the formula
}

// dos are all actions, most urgent first.
var dos = []Do{DoStopPump, DoDrain, DoFill, DoTopUp, DoReplace, DoDecant, DoSeparate, DoFreeze, DoFilter, DoChangeMedium, DoCheck, DoCare, DoHandIn, DoBuyOil}
