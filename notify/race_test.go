//go:build race

package notify

// slower is how many times as long a bound may take: the race detector costs that much.
const slower = 10
