package journal

import (
	"bytes"
	"fmt"

	"go.etcd.io/bbolt"
)

// putCalendar keeps records of the calendar.
func (p *prepared) putCalendar(tx *bbolt.Tx) error {
	if len(p.Calendar) == 0 {
		return nil
	}
	records, err := tx.CreateBucketIfNotExists(inCalendar)
	if err != nil {
		return fmt.Errorf("make the calendar: %w", err)
	}
	for id, record := range p.Calendar {
		if err := records.Put([]byte(id), withSum([]byte(id), record)); err != nil {
			return fmt.Errorf("calendar's record of %q: %w", id, err)
		}
	}
	return nil
}

// Calendar gives the records kept last, by action.
func (j *Journal) Calendar() (records map[string][]byte, err error) {
	err = j.view(func(tx *bbolt.Tx) error {
		records, err = j.readCalendar(tx)
		return err
	})
	return records, err
}

func (j *Journal) readCalendar(tx *bbolt.Tx) (map[string][]byte, error) {
	if err := j.flaws[string(inCalendar)]; err != nil {
		return nil, err
	}
	records := map[string][]byte{}
	b := tx.Bucket(inCalendar)
	if b == nil {
		return records, nil
	}
	err := b.ForEach(func(id, stored []byte) error {
		value, ok := withoutSum(id, stored)
		if !ok {
			return &Damage{What: fmt.Sprintf("the calendar's record of %q is not what was written", id)}
		}
		records[string(id)] = bytes.Clone(value)
		return nil
	})
	return records, err
}
