package chart

import (
	"math"

	"coilkeep/internal/conformity"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// shape is the form of a mark.
type shape int

const (
	disc shape = iota
	ring
	square
	diamond
	triangleUp
	triangleDown
	cross
	struckDisc // a ring with a stroke through it: left out
)

func (s shape) draw(c canvas, at point, r float64, i ink) {
	around := func(corners int, turn float64) []point {
		points := make([]point, corners)
		for k := range points {
			sin, cos := math.Sincos(turn + 2*math.Pi*float64(k)/float64(corners))
			points[k] = point{at.x + r*1.2*sin, at.y - r*1.2*cos}
		}
		return points
	}
	slash := func(dy float64) {
		c.path([]point{{at.x - r, at.y - r*dy}, {at.x + r, at.y + r*dy}}, false, stroke(i))
	}
	switch s {
	case disc:
		c.circle(at, r, fill(i))
	case ring:
		c.circle(at, r, stroke(i))
	case square:
		c.path(around(4, math.Pi/4), true, stroke(i))
	case diamond:
		c.path(around(4, 0), true, fill(i))
	case triangleUp:
		c.path(around(3, 0), true, fill(i))
	case triangleDown:
		c.path(around(3, math.Pi), true, fill(i))
	case cross:
		slash(1)
		slash(-1)
	case struckDisc:
		c.circle(at, r, stroke(i))
		slash(-1.4)
	}
}

// face is how a measurement looks and what the legend calls it.
type face struct {
	shape shape
	ink   ink
	words string
}

// faceOf gives withdrawn measurements one look whatever their verdict was.
func faceOf(m record.Measurement) face {
	switch m.Status {
	case record.Void:
		return face{cross, inkVoid, "void"}
	case record.Superseded:
		return face{ring, inkVoid, "replaced by a later one"}
	}
	return verdictFace(m.Verdict)
}

func verdictFace(v conformity.Verdict) face {
	said := words.Verdict(v)
	switch v {
	case conformity.In:
		return face{disc, inkIn, said}
	case conformity.High:
		return face{triangleUp, inkOut, said}
	case conformity.Low:
		return face{triangleDown, inkOut, said}
	case conformity.Undecided:
		return face{diamond, inkOpen, said}
	}
	return face{square, inkIn, said}
}
