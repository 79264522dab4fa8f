package maintenance

// Stage is how far the oil in a vessel has come; an empty vessel has none. A blend is only
// as far along as its least finished part.
type Stage string

// The stages, from least to most finished.
const (
	NoStage   Stage = ""
	Waste     Stage = "waste"
	Residue   Stage = "residue"
	Freezing  Stage = "freezing"
	Drained   Stage = "drained"
	Recovered Stage = "recovered"
	Decanted  Stage = "decanted"
	Filtered  Stage = "filtered"
	New       Stage = "new"
)

var stages = []Stage{Waste, Residue, Freezing, Drained, Recovered, Decanted, Filtered, New}

func (s Stage) rank() int {
	for i, t := range stages {
		if s == t {
			return i
		}
	}
	return len(stages)
}

// leastOf blends two stages; NoStage is an empty part and changes nothing.
func leastOf(a, b Stage) Stage {
	if a.rank() < b.rank() {
		return a
	}
	return b
}

// Dos lists the kinds of action, most urgent first.
func Dos() []Do { return append([]Do(nil), dos...) }
