package quoting

import (
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"daysheet/events"
	"daysheet/reports"
)

// The fields of the form for a take-off. Those of a row repeat, so that the n-th of
// each belong together. Lengths are in metres, quantities in the task's unit.
const (
	FieldID      = "id"  // of the estimate that the form issues
	FieldJob     = "job" // on which it is issued
	FieldJobType = "job_type"
	FieldGrade   = "grade"
	FieldRule    = "measured_by"

	FieldRoom         = "room" // name, length, width, height
	FieldLength       = "length"
	FieldWidth        = "width"
	FieldHeight       = "height"
	FieldDoors        = "doors" // number, width and height of one
	FieldDoorWidth    = "door_width"
	FieldDoorHeight   = "door_height"
	FieldWindows      = "windows"
	FieldWindowWidth  = "window_width"
	FieldWindowHeight = "window_height"

	FieldTask     = "task" // of a piece of work, with what it is measured by
	FieldSurface  = "surface"
	FieldMethod   = "method"
	FieldOf       = "of"
	FieldCoats    = "coats"
	FieldQuantity = "quantity"
)

// OfQuantity stands in [FieldOf] for work with a quantity of its own.
const OfQuantity = "quantity"

// TakeOffFrom reads the form. Rows without a name or a task are left out; work that
// is measured by rooms is done in each of them. It refuses the first field that is
// not what it should be.
func TakeOffFrom(values url.Values) (reports.TakeOff, error) {
	f := fields{values: values}
	t := reports.TakeOff{JobType: values.Get(FieldJobType), Grade: values.Get(FieldGrade),
		MeasuredBy: values.Get(FieldRule)}
	var inRooms []reports.RoomWork
	for i, task := range values[FieldTask] {
		if task == "" {
			continue
		}
		w := reports.RoomWork{Task: task, Surface: f.at(FieldSurface, i), Method: f.at(FieldMethod, i), Of: f.at(FieldOf, i),
			Coats: f.whole(FieldCoats, i)}
		if w.Of == OfQuantity || w.Of == "" {
			milli := f.thousandths(FieldQuantity, i) * max(w.Coats, 1)
			t.Lines = append(t.Lines, reports.TakeOffLine{Task: w.Task, Surface: w.Surface, Method: w.Method,
				QuantityMilli: milli})
			continue
		}
		inRooms = append(inRooms, w)
	}
	for i, name := range values[FieldRoom] {
		if name == "" {
			continue
		}
		room := reports.Room{Name: name, LengthMm: f.thousandths(FieldLength, i), WidthMm: f.thousandths(FieldWidth, i),
			HeightMm: f.thousandths(FieldHeight, i), Work: inRooms}
		for _, o := range []struct{ name, count, width, height string }{
			{"door", FieldDoors, FieldDoorWidth, FieldDoorHeight}, {"window", FieldWindows, FieldWindowWidth, FieldWindowHeight},
		} {
			if n := f.whole(o.count, i); n > 0 {
				room.Openings = append(room.Openings, reports.RoomOpening{Name: o.name, Count: n,
					WidthMm: f.thousandths(o.width, i), HeightMm: f.thousandths(o.height, i)})
			}
		}
		t.Rooms = append(t.Rooms, room)
	}
	if f.err == nil && len(inRooms) > 0 && len(t.Rooms) == 0 {
		f.err = events.Refuse(FieldRoom, "", "work is measured by rooms: give one")
	}
	return t, f.err
}

// fields reads repeated fields and keeps the first refusal.
type fields struct {
	values url.Values
	err    error
}

func (f *fields) at(name string, i int) string {
	if all := f.values[name]; i < len(all) {
		return strings.TrimSpace(all[i])
	}
	return ""
}

// thousandths reads a decimal number with up to three places, a comma or a point
// before them; 0 where it is empty.
func (f *fields) thousandths(name string, i int) int64 {
	text := f.at(name, i)
	if text == "" {
		return 0
	}
	whole, part, _ := strings.Cut(strings.Replace(text, ",", ".", 1), ".")
	n, err := strconv.ParseInt(whole+part+strings.Repeat("0", max(0, 3-len(part))), 10, 64)
	if err != nil || len(part) > 3 || n < 0 || strings.ContainsAny(text, "+-") {
		f.refuse(name, i, text, "a number with at most three decimal places")
		return 0
	}
	return n
}

func (f *fields) whole(name string, i int) int64 {
	text := f.at(name, i)
	if text == "" {
		return 0
	}
	n, err := strconv.ParseInt(text, 10, 32)
	if err != nil || n < 0 {
		f.refuse(name, i, text, "a whole number")
		return 0
	}
	return n
}

func (f *fields) refuse(name string, i int, text, rule string) {
	if f.err == nil {
		f.err = events.Refuse(fmt.Sprintf("%s in row %d", strings.ReplaceAll(name, "_", " "), i+1), text, "%s", rule)
	}
}
