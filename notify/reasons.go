package notify

import "sumpbook/maintenance"

// Reasons words each number an action rests on, in a person's units: "settled for: 20 h,
// limit 24 h".
func (v Voice) Reasons(a maintenance.Action) []string {
	all := make([]string, len(a.Why))
	for i, r := range a.Why {
		all[i] = v.reason(r)
	}
	return all
}
