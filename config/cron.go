package config

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/robfig/cron/v3"

	"sumpbook/notify"
)

// ParseCron reads a cron spec of five fields (minute, hour, day, month, weekday), a word
// such as @daily, or @every with at least a minute. The time zone is never part of it.
func ParseCron(spec string) (schedule cron.Schedule, err error) {
	// The library panics on some specs, such as a zone without a blank after it.
	defer func() {
		if recover() != nil {
			schedule, err = nil, fmt.Errorf("%q is no cron spec", short(spec))
		}
	}()
	spec = strings.TrimSpace(spec)
	if strings.Contains(spec, "TZ=") {
		return nil, errors.New("a zone cannot stand in a cron spec")
	}
	schedule, err = cron.ParseStandard(spec)
	if err != nil {
		return nil, fmt.Errorf("%q is no cron spec: %w", short(spec), err)
	}
	// The library turns @every 0s and less into every second.
	if every, ok := strings.CutPrefix(spec, "@every "); ok {
		if d, err := time.ParseDuration(every); err != nil || d < time.Minute {
			return nil, fmt.Errorf("%q comes more often than every minute", short(spec))
		}
	}
	// From 2000 on, so that the five years it looks ahead hold a leap day.
	if schedule.Next(time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)).IsZero() {
		return nil, fmt.Errorf("%q never comes", short(spec))
	}
	return schedule, nil
}

// NextLocal is the first instant after `after` at which the clock on the wall in loc stands
// where the schedule says, in loc. A time that the clock skips comes at the end of the gap,
// and one that it shows twice comes at the first showing only; the schedule's own Next would
// leave out the one and give the other twice. An @every schedule counts elapsed time. The
// zero time says that nothing comes within five years.
func NextLocal(schedule cron.Schedule, after time.Time, loc *time.Location) time.Time {
	if every, ok := schedule.(cron.ConstantDelaySchedule); ok {
		return every.Next(after).In(loc)
	}
	return notify.NextLocal(schedule, after, loc)
}
