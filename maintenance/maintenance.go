// Package maintenance is what the oil of a rotary-vane vacuum pump is and needs.
//
// An Entry is one thing that somebody saw happen. Fold turns entries, in the order in
// which they happened, into a State: every gram of oil and water in its place. Next turns
// a State into actions, each with its window, its reasons in numbers and the entry that
// would settle it.
//
// The package is pure: it reads no clock, no file and no network, and the same entries,
// rules and instant always give the same answer. Masses are whole milligrams and are
// conserved exactly; everything else is an estimate and says so.
package maintenance
