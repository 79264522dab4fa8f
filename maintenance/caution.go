package maintenance

// Cautions stand where an act is asked for. They defer to the maker's manual and to local
// rules, and promise no safety.
const (
	cautionNoOil    = "without oil a vane pump wears at once and may seize: switch it off first, look for the cause afterwards"
	cautionPower    = "unplug the pump before you touch more than its switch; keep oil and water off the plug; the maker's manual wins"
	cautionUnplug   = "switch off and unplug the pump before you open it; the maker's manual wins"
	cautionHotOil   = "hot oil burns: gloves, eye protection, a vessel that stands firm and bears heat"
	cautionGlass    = "hot oil can crack cold glass, and glass cracks when it is chilled fast: let neither shock the other"
	cautionMist     = "do not breathe oil mist: air the room, and lead the exhaust as the manual says"
	cautionUsedOil  = "used oil is regulated waste: keep it sealed and labelled, never pour it away, and hand it in as local rules say"
	cautionWarm     = "the oil is cold and slow by now: warm the pump first, with its inlet closed, as the manual says, and record that run as blank"
	cautionIce      = "ice takes a tenth more room and breaks glass: leave 10 to 15 % headspace, use a wide mouth, keep the lid loose until it is frozen"
	cautionFreezer  = "a jar of pump oil in the cold stands sealed, labelled and apart from food"
	cautionLabel    = "label the vessel: pump oil, not for food"
	cautionRightOil = "fill to the mark with the oil the manual names, never above it; close the drain first"
	cautionAir      = "keep dust and the curious away from the open pump; it cannot run before it is filled"
)
