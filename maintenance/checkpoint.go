package maintenance

import (
	"github.com/go-json-experiment/json"
	jsonv1 "github.com/go-json-experiment/json/v1"
)

// EncodeState writes a state down as a checkpoint: equal states give equal bytes.
func EncodeState(s *State) ([]byte, error) {
	return json.Marshal(s, jsonv1.FormatDurationAsNano(true), json.Deterministic(true))
}

// DecodeState reads a checkpoint of this version back; one with members of another version
// is an error, and the state has to be folded anew.
func DecodeState(b []byte) (*State, error) {
	s := NewState()
	return s, json.Unmarshal(b, s, jsonv1.FormatDurationAsNano(true), json.RejectUnknownMembers(true))
}

// StateFormat changes when the same entries come to fold into another state, so that a
// checkpoint of an older program is not gone on from.
const StateFormat = 2
