package reports

import (
	"fmt"

	"daysheet/events"
	"daysheet/reports/measure"
)

// TakeOff is what is to be done, as it was measured: lines with a quantity, and
// rooms from which quantities follow. Lengths are whole millimetres.
type TakeOff struct {
	JobType    string        `json:"job_type,omitempty" doc:"One of the firm's job types; rates follow it where there is history"`
	Grade      string        `json:"grade" doc:"Grade of labour that it is costed at"`
	MeasuredBy string        `json:"measured_by,omitempty" doc:"Rule for openings; the firm's own if not given" enum:"net,din-18363,is-1200"`
	Lines      []TakeOffLine `json:"lines,omitempty" doc:"Work with a quantity"`
	Rooms      []Room        `json:"rooms,omitempty" doc:"Rooms with the work in them"`
	WhatIf     []Alternative `json:"what_if,omitempty" doc:"Other ways of doing it, to compare"`
}

// TakeOffLine is work with a quantity.
type TakeOffLine struct {
	Task          string `json:"task" doc:"Key of the task"`
	Surface       string `json:"surface,omitempty" doc:"Key of the surface"`
	Method        string `json:"method,omitempty" doc:"Key of the method"`
	Location      string `json:"location,omitempty" doc:"Room or part of the building"`
	QuantityMilli int64  `json:"quantity_milli" doc:"Quantity in thousandths of the task's unit" minimum:"1"`
}

// Room is a room by its inner size.
type Room struct {
	Name     string        `json:"name" doc:"Name of the room"`
	LengthMm int64         `json:"length_mm" minimum:"1"`
	WidthMm  int64         `json:"width_mm" minimum:"1"`
	HeightMm int64         `json:"height_mm" minimum:"1"`
	Openings []RoomOpening `json:"openings,omitempty" doc:"Doors and windows in its walls"`
	Work     []RoomWork    `json:"work" doc:"What is done in it"`
}

// RoomOpening is a door or window, or several of one size.
type RoomOpening struct {
	Name     string `json:"name"`
	WidthMm  int64  `json:"width_mm" minimum:"1"`
	HeightMm int64  `json:"height_mm" minimum:"1"`
	Count    int64  `json:"count" minimum:"1"`
	RevealMm int64  `json:"reveal_mm,omitempty" doc:"Depth of the reveal that is coated" minimum:"0"`
}

// The parts of a room that work is measured by.
const (
	OfWalls    = "walls"    // by the rule, openings as it says
	OfCeiling  = "ceiling"  // length by width
	OfFloor    = "floor"    // length by width
	OfEdges    = "edges"    // along the floor and around each opening
	OfOpenings = "openings" // their number
)

// RoomWork is work on a part of a room.
type RoomWork struct {
	Of      string `json:"of" doc:"Part of the room it is measured by" enum:"walls,ceiling,floor,edges,openings"`
	Task    string `json:"task" doc:"Key of the task"`
	Surface string `json:"surface,omitempty" doc:"Key of the surface"`
	Method  string `json:"method,omitempty" doc:"Key of the method"`
	Coats   int64  `json:"coats,omitempty" doc:"How often; once if not given" minimum:"0" maximum:"20"`
}

// measured is a line of work with where its quantity comes from.
type measured struct {
	TakeOffLine
	how Phrase
}

// takeOffMost bounds a take-off.
const takeOffMost = 500

// measure turns a take-off into lines with quantities. It refuses sizes that
// cannot be and parts of a room that do not exist.
func (t TakeOff) measure(rule string) ([]measured, error) {
	var all []measured
	for i, l := range t.Lines {
		if l.QuantityMilli < 1 || l.QuantityMilli > events.QuantityMilliMax {
			return nil, events.Refuse(fmt.Sprintf("lines[%d].quantity_milli", i), l.QuantityMilli, "a whole number from 1 to %d",
				events.QuantityMilliMax)
		}
		all = append(all, measured{l, phrase("as given")})
	}
	for i, r := range t.Rooms {
		lines, err := r.measure(rule)
		if err != nil {
			return nil, fmt.Errorf("rooms[%d] %s: %w", i, r.Name, err)
		}
		all = append(all, lines...)
	}
	if n := len(all); n == 0 || n > takeOffMost {
		return nil, events.Refuse("lines", n, "1 to %d lines of work, those of rooms included", takeOffMost)
	}
	return all, nil
}

// measure measures each piece of work in the room.
func (r Room) measure(rule string) ([]measured, error) {
	var openings []measure.Opening
	for _, o := range r.Openings {
		openings = append(openings, measure.Opening{Name: o.Name, WidthMm: o.WidthMm, HeightMm: o.HeightMm, Count: o.Count,
			RevealMm: o.RevealMm})
	}
	walls, err := measure.Measure(rule, measure.Walls(r.LengthMm, r.WidthMm, r.HeightMm, openings...))
	if err != nil {
		return nil, err
	}
	flat, err := measure.Measure(rule, measure.Surface{LengthMm: r.LengthMm, HeightMm: r.WidthMm})
	if err != nil {
		return nil, err
	}
	edges, number := 2*(r.LengthMm+r.WidthMm), int64(0)
	for _, o := range r.Openings {
		edges += o.Count * (2*o.HeightMm + o.WidthMm)
		number += o.Count
	}
	var all []measured
	for i, w := range r.Work {
		milli, how := int64(0), Phrase{}
		switch w.Of {
		case OfWalls:
			milli, how = walls.AreaMilli+walls.SeparateMilli, phrase("walls by %s", walls.Rule)
		case OfCeiling, OfFloor:
			milli, how = flat.AreaMilli, phrase(w.Of)
		case OfEdges:
			milli, how = edges, phrase("along the floor and around openings")
		case OfOpenings:
			milli, how = number*1000, phrase("number of openings")
		default:
			return nil, events.Refuse(fmt.Sprintf("work[%d].of", i), w.Of, "use one of walls, ceiling, floor, edges, openings")
		}
		milli *= max(w.Coats, 1)
		if milli < 1 || milli > events.QuantityMilliMax || w.Coats < 0 || w.Coats > 20 {
			return nil, events.Refuse(fmt.Sprintf("work[%d].of", i), w.Of, "there is none of it here, or too much: %d "+
				"thousandths",
				milli)
		}
		if w.Coats > 1 {
			how = phrase("%s, %d coats", how, w.Coats)
		}
		all = append(all, measured{TakeOffLine{w.Task, w.Surface, w.Method, r.Name, milli}, how})
	}
	return all, nil
}
