package config

import (
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
)

const peoplePath = "../testdata/config/people.yaml"

func TestPeopleExample(t *testing.T) {
	c, err := Load(Options{File: peoplePath, Explicit: true})
	require.NoError(t, err)
	require.Empty(t, c.Warnings)
	ana, bo := c.People[0], c.People[1]
	require.Equal(t, []string{"phone", "mail"}, ana.Channels)
	require.Equal(t, map[maintenance.Do][]string{maintenance.DoDrain: {"phone"}, "*": {"mail"}}, ana.Kinds.By())
	require.Equal(t, Nights{
		{Days: []string{"mon", "tue", "wed", "thu", "fri"}, From: 22 * 60, To: 6*60 + 30, Except: []maintenance.Do{maintenance.DoStopPump, maintenance.DoDrain}},
		{Days: []string{"sat", "sun"}, From: 23 * 60, To: 9 * 60},
	}, ana.Quiet)
	require.Equal(t, []time.Weekday{time.Saturday, time.Sunday}, ana.Quiet[1].Weekdays())
	require.Equal(t, Person{Name: "bo", Channels: []string{"post"}}, bo)
	require.Nil(t, bo.Kinds.By())
	require.Equal(t, []Escalate{{maintenance.DoDrain, 45 * time.Minute, "bo"}, {maintenance.DoDrain, 90 * time.Minute, "board"}}, c.Escalate)
	require.Equal(t, "0 9 * * 1", c.Weekly)
	ahead, set := c.LookAheadAt()
	require.True(t, set)
	require.Equal(t, ClockTime(20*60), ahead)
	told := fmt.Sprint(c.Describe())
	require.Contains(t, told, "{people[0].kinds.*[0] mail file "+peoplePath+":8}")
	require.Contains(t, told, "{people[0].quiet[1].from 23:00 file "+peoplePath+":11}")
}

func TestOneNightNeedsNoList(t *testing.T) {
	c, err := load(t, ana+", quiet: {from: \"23:00\", to: \"0:00\"}}]\nlook_ahead: off\n")
	require.NoError(t, err)
	require.Equal(t, Nights{{From: 23 * 60, To: 0}}, c.People[0].Quiet)
	_, set := c.LookAheadAt()
	require.False(t, set)
}

// A table with a hole loses nothing: what would reach nobody is told everywhere, and said.
func TestAKindThatReachesNobodyIsToldAndWarnedOf(t *testing.T) {
	c, err := load(t, strings.Replace(ana, "[phone]", "[phone, mail]", 1)+", kinds: {drain: [phone], fill: []}}]\n")
	require.NoError(t, err)
	require.Len(t, c.Warnings, 1)
	require.Contains(t, c.Warnings[0], "people[0].kinds: no channel for fill, top-up,")
	require.Contains(t, c.Warnings[0], `so ana is told on phone, mail; "*" stands for the kinds that are not named`)
	require.NotContains(t, c.Warnings[0], "drain")
}

// Whatever kind is added to the domain has a row in the table, in the same order.
func TestEveryKindHasItsRow(t *testing.T) {
	var rows []string
	for _, do := range maintenance.Dos() {
		rows = append(rows, string(do))
	}
	require.Equal(t, append(rows, "*"), names(reflect.TypeFor[Kinds]()))
}
