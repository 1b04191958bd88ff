package demo

import (
	"hash/fnv"
	"image"
	"image/color"

	"golang.org/x/image/draw"
	"golang.org/x/image/font"
	"golang.org/x/image/font/basicfont"
	"golang.org/x/image/math/fixed"
)

// scene is a room as a child would draw it: nobody takes it for a place.
type scene struct {
	seed, room, item string
	about            string // what stands below
	marked           bool   // a spot on the item, with a ring around it
	covered          bool   // the floor
	near             bool   // the item alone
}

const sceneWidth, sceneHeight = 480, 360

// draw draws the scene with the words that it is invented.
func (s scene) draw() image.Image {
	img := image.NewRGBA(image.Rect(0, 0, sceneWidth, sceneHeight))
	s.drawRoom(img)
	at := spots()[s.item]
	if at == (image.Point{}) {
		at = image.Pt(300, 200)
	}
	if s.marked {
		disc(img, at, 9, color.RGBA{0x9c, 0x2f, 0x2f, 0xff})
		disc(img, at.Add(image.Pt(9, 5)), 5, color.RGBA{0x9c, 0x2f, 0x2f, 0xff})
		ring(img, at, 26, color.RGBA{0xd8, 0x1e, 0x1e, 0xff})
	}
	if s.near {
		around := image.Rect(at.X-80, at.Y-60, at.X+80, at.Y+60)
		closer := image.NewRGBA(img.Rect)
		draw.ApproxBiLinear.Scale(closer, closer.Rect, img, around, draw.Src, nil)
		img = closer
	}
	label(img, "INVENTED  "+s.about)
	return img
}

// spots says where things are in the picture.
func spots() map[string]image.Point {
	return map[string]image.Point{
		"floor covering": {240, 285}, "window": {140, 110}, "window board": {180, 186}, "radiator": {140, 225},
		"worktop": {300, 215}, "handrail": {420, 170},
	}
}

// drawRoom draws a wall in a colour of the room's own, a window over a radiator, and a door.
func (s scene) drawRoom(img *image.RGBA) {
	hash := fnv.New32a()
	_, _ = hash.Write([]byte(s.seed + s.room)) // never fails, says hash.Hash
	tint := hash.Sum32()
	wall := color.RGBA{0xc8 + uint8(tint%40), 0xc8 + uint8(tint>>8%40), 0xc0 + uint8(tint>>16%40), 0xff}
	wood, white := color.RGBA{0x8a, 0x63, 0x3f, 0xff}, color.RGBA{0xf4, 0xf4, 0xf0, 0xff}
	floor := wood
	if s.covered {
		floor = color.RGBA{0xd9, 0xc2, 0x96, 0xff}
	}
	for _, part := range []struct {
		at image.Rectangle
		in color.RGBA
	}{
		{img.Rect, wall}, {image.Rect(0, 262, 480, 360), floor}, {image.Rect(0, 252, 480, 262), white},
		{image.Rect(70, 50, 210, 180), white}, {image.Rect(78, 58, 136, 172), color.RGBA{0xa9, 0xc8, 0xdf, 0xff}},
		{image.Rect(144, 58, 202, 172), color.RGBA{0xa9, 0xc8, 0xdf, 0xff}}, {image.Rect(60, 180, 220, 190), wood},
		{image.Rect(80, 205, 200, 245), white}, {image.Rect(350, 80, 450, 262), wood},
		{image.Rect(358, 88, 442, 262), color.RGBA{0xa3, 0x7d, 0x55, 0xff}},
	} {
		fill(img, part.at, part.in)
	}
	for x := 92; x < 196; x += 12 { // ribs of the radiator
		fill(img, image.Rect(x, 208, x+3, 242), color.RGBA{0xd0, 0xd0, 0xcc, 0xff})
	}
	if s.covered {
		for x := 0; x < sceneWidth; x += 96 { // where sheets meet, with tape on it
			fill(img, image.Rect(x, 262, x+7, 360), color.RGBA{0xc4, 0xa8, 0x6c, 0xff})
		}
		fill(img, image.Rect(0, 259, 480, 265), color.RGBA{0x3d, 0x7f, 0xb0, 0xff})
	}
}

func fill(img *image.RGBA, at image.Rectangle, in color.RGBA) {
	draw.Draw(img, at, image.NewUniform(in), image.Point{}, draw.Src)
}

func disc(img *image.RGBA, at image.Point, radius int, in color.RGBA) {
	round(img, at, 0, radius, in)
}

func ring(img *image.RGBA, at image.Point, radius int, in color.RGBA) {
	round(img, at, radius-3, radius, in)
}

// round fills what lies between two distances from a point.
func round(img *image.RGBA, at image.Point, from, to int, in color.RGBA) {
	for y := -to; y <= to; y++ {
		for x := -to; x <= to; x++ {
			if d := x*x + y*y; d >= from*from && d <= to*to {
				img.SetRGBA(at.X+x, at.Y+y, in)
			}
		}
	}
}

// label writes on a bar at the bottom, in letters of twice their size.
func label(img *image.RGBA, text string) {
	const high = 18
	bar := image.NewRGBA(image.Rect(0, 0, sceneWidth/2, high))
	fill(bar, bar.Rect, color.RGBA{0x20, 0x24, 0x28, 0xff})
	pen := font.Drawer{Dst: bar, Src: image.NewUniform(color.White), Face: basicfont.Face7x13, Dot: fixed.P(4, 13)}
	pen.DrawString(text)
	below := image.Rect(0, sceneHeight-2*high, sceneWidth, sceneHeight)
	draw.NearestNeighbor.Scale(img, below, bar, bar.Rect, draw.Src, nil)
}
