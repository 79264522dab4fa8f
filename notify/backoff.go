package notify

import (
	"crypto/sha256"
	"encoding/binary"
	"strconv"
	"time"
)

// MaxAttempts ends the tries of one reminder. With the waits below they last a little over
// seven days, and stay under 200 in any seven.
const MaxAttempts = 200

// MaxRetryAfter caps what the other end may ask us to wait.
const MaxRetryAfter = 2 * time.Hour

const (
	firstWait = 10 * time.Second
	dayWait   = 30 * time.Minute // the ceiling on the first day
	weekWait  = time.Hour        // the ceiling from then on
	dayTries  = 48               // attempts in about the first day
)

// Backoff is the wait after so many attempts, 1 or more: 10 s doubling up to 30 min, an hour
// after the first day, and up to a quarter more, so that reminders that failed together do
// not come back together. The same key and attempt always wait the same.
func Backoff(key Key, attempt int) time.Duration {
	wait := weekWait
	if attempt <= dayTries {
		wait = min(firstWait<<min(attempt-1, 20), dayWait)
	}
	sum := sha256.Sum256([]byte(key.ID() + strconv.Itoa(attempt)))
	share := time.Duration(binary.BigEndian.Uint16(sum[:2]))
	return wait + wait/4*share/(1<<16)
}
